"""The profile editor's half on this side: a text, one change of it, the text after it.

The text is the truth; the form is only a view of it, so comments and what the form does not show
stay as written. Changes of stages as a whole go through `revise.sheet`, single values through
tomlkit, accepted warnings through `profiles.acceptance`. A value is kept as typed, even a wrong
one: the check then says what is wrong with it. Called in a helper process; takes and gives plain
data.
"""

import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from emberbed.materials.book import alloys, fluxes, laminates, neighbours
from emberbed.page.judging import checked
from emberbed.profiles.acceptance import CannotAccept, with_acceptance
from emberbed.profiles.limits import RANGES
from emberbed.profiles.model import CHOICES, STAGE_MODELS, Board, Chip
from emberbed.profiles.reader import ProfileMistakes, parse_profile
from emberbed.revise.draft import Part
from emberbed.revise.sheet import revised_text

Answer = dict[str, Any]
NEW_NOTE = "Added in the profile editor."
NEW_STAGES: dict[str, dict[str, Any]] = {  # what a new stage begins with
    "ramp": {"kind": "ramp", "to_c": 90, "rate_c_per_s": 0.3},
    "hold": {"kind": "hold", "for_s": 120},
    "wait": {"kind": "wait", "prompt": "Apply flux", "longest_s": 600},
    "hot_air": {"kind": "hot_air"},
    "cool": {"kind": "cool", "below_c": 50, "fastest_c_per_s": 2.0},
}
_LISTS = ("needs", "marks")
_HEAD = ("name", "alloy", "laminate", "flux", "standard", "ceiling_c")
_TABLES = ("board", "chip")  # made when their first value is told, gone with their last one
_NEIGHBOUR = ("limit_c", "part")  # what such a sensor says besides its role
CANNOT_CHANGE = "The form cannot change this text: mend it in the text first."
NOT_YET = "A warning is accepted once the text has no mistakes: mend them first."
NO_SUCH_WARNING = "This text has no such warning any more: look at the list again."
NOT_AS_TABLES = "Write what was accepted as [[accepted]] tables, not as one list, then again."


def opened(text: str, shown: str, folder: Path | None = None) -> Answer:
    """Return a text with its check and its form; the form is None for a text that is no TOML."""
    return {"text": text, "check": checked(text, shown, folder), "form": _form(text)}


def edited(text: str, shown: str, change: Answer, folder: Path | None = None) -> Answer:
    """Return the same after one change: `set` a value, `add`, `remove` or `move` a stage, or
    `accept` the warning of a name with a reason.

    A change that cannot be made leaves the text and says so in `sentences`.
    """
    try:
        if change["do"] == "accept":
            return opened(_accepted(text, shown, change, folder), shown, folder)
        return opened(_changed(text, change), shown, folder)
    except CannotAccept as refused:
        return {**opened(text, shown, folder), "sentences": [str(refused)]}
    except (TOMLKitError, ValueError, KeyError, IndexError, TypeError, AttributeError):
        return {**opened(text, shown, folder), "sentences": [CANNOT_CHANGE]}


def _changed(text: str, change: Answer) -> str:
    does = change["do"]
    if does == "set":
        return _with_value(text, change["place"], str(change["value"]))
    data = tomllib.loads(text)
    parts = [Part(number) for number in range(len(data["stages"]))]
    at = int(change["at"])
    if does == "remove":
        parts.pop(at)
    elif does == "move":
        parts.insert(int(change["to"]), parts.pop(at))
    elif does == "add":
        parts.insert(at, Part(None, NEW_STAGES[change["kind"]]))
    else:
        raise ValueError(does)
    return revised_text(text, data["name"], parts, NEW_NOTE)


def _accepted(text: str, shown: str, change: Answer, folder: Path | None) -> str:
    """Return the text with one more acceptance at its end. Raises CannotAccept."""
    try:
        source = parse_profile(text.encode(), shown, folder=folder).source
    except ProfileMistakes:
        raise CannotAccept(NOT_YET) from None
    found = checked(text, shown, folder)["findings"]
    if change["name"] not in [one["name"] for one in found if one["severity"] == "warning"]:
        raise CannotAccept(NO_SUCH_WARNING)
    after = with_acceptance(source, text, change["name"], str(change["reason"]))
    try:
        parse_profile(after.encode(), shown, folder=folder)
    except ProfileMistakes:
        raise CannotAccept(NOT_AS_TABLES) from None
    return after


def _with_value(text: str, place: list[str | int], written: str) -> str:
    """Set what a person wrote at `place`, such as ["stages", 2, "to_c"]; '' takes the key out."""
    document = tomlkit.parse(text)
    table: Any = document
    *way, key = place
    for step in way:
        table = _table_in(table, step)
    if written.strip():
        table[key] = _value(str(key), written.strip())
    elif key in table:
        del table[key]
    if way and way[0] in _TABLES and not table:
        del document[way[0]]
    return tomlkit.dumps(document)


def _table_in(table: Any, step: str | int) -> Any:
    """Return the table at `step`; one that the form knows and a sensor's bare role become one."""
    there = table.get(step) if isinstance(step, str) else table[step]
    if isinstance(there, str) or (there is None and step in _TABLES):
        table[step] = tomlkit.inline_table()
        if isinstance(there, str):
            table[step]["role"] = there
    return table[step]


def _value(key: str, written: str) -> Any:
    """Return what is meant: a number (a decimal comma is one too), a list, or the text."""
    if key in _LISTS:
        return [one.strip() for one in written.split(",") if one.strip()]
    if key not in RANGES:
        return written
    number = written.replace(",", ".") if written.count(",") == 1 else written
    for reads in (int, float):
        try:
            return reads(number)
        except ValueError:
            continue
    return written


def _form(text: str) -> Answer | None:
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError):
        return None
    stages, sensors, board, chip = (data.get(k) for k in ("stages", "sensors", "board", "chip"))
    return {
        "head": {key: _shown(data.get(key)) for key in _HEAD},
        "board": {key: _shown(_of(board, key)) for key in Board.model_fields},
        "chip": {key: _shown(_of(chip, key)) for key in Chip.model_fields},
        "sensors": {
            name: _sensor(one)
            for name, one in (sensors if isinstance(sensors, dict) else {}).items()
        },
        "stages": [_stage(one) for one in (stages if isinstance(stages, list) else [])],
        "choices": {**CHOICES, **_books()},
        "kinds": list(NEW_STAGES),
    }


def _books() -> dict[str, list[str]]:
    """Return the names that the materials book holds for a key."""
    shelves = {"alloy": alloys, "laminate": laminates, "flux": fluxes, "part": neighbours}
    return {key: list(shelf()) for key, shelf in shelves.items()}


def _sensor(sensor: Any) -> Answer:
    """Return what the form shows of a sensor; a bare word is its role."""
    role = _shown(_of(sensor, "role") if isinstance(sensor, dict) else sensor)
    more = {key: _shown(_of(sensor, key)) for key in _NEIGHBOUR}
    return {
        "role": role,
        **{key: value for key, value in more.items() if value or role == "neighbour"},
    }


def _stage(stage: Any) -> Answer:
    """Return a stage's kind and its values as text, needed and given ones first, then the rest."""
    kind = str(_of(stage, "kind") or "")
    model = STAGE_MODELS.get(kind)
    needed = [k for k, f in model.model_fields.items() if f.is_required()] if model else []
    given = list(stage) if isinstance(stage, dict) else []
    keys = [key for key in dict.fromkeys([*needed, *given]) if key != "kind"]
    known = list(model.model_fields) if model else []
    return {
        "kind": kind,
        "values": {key: _shown(_of(stage, key)) for key in keys},
        "more": [key for key in known if key not in keys and key != "kind"],
    }


def _of(table: Any, key: str) -> Any:
    return table.get(key) if isinstance(table, dict) else None


def _shown(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return ", ".join(str(one) for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
