"""The profile editor's half on this side: a text, one change of it, the text after it.

The text is the truth; the form is only a view of it, so comments and what the form does not show
stay as written. Changes of stages as a whole go through `revise.sheet`, single values through
tomlkit. A value is kept as typed, even a wrong one: the check then says what is wrong with it.
Called in a helper process; takes and gives plain data.
"""

import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from emberbed.materials.book import alloys, laminates
from emberbed.page.judging import checked
from emberbed.profiles.limits import RANGES
from emberbed.profiles.model import CHOICES, STAGE_MODELS, Board
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
CANNOT_CHANGE = "The form cannot change this text: mend it in the text first."


def opened(text: str, shown: str, folder: Path | None = None) -> Answer:
    """Return a text with its check and its form; the form is None for a text that is no TOML."""
    return {"text": text, "check": checked(text, shown, folder), "form": _form(text)}


def edited(text: str, shown: str, change: Answer, folder: Path | None = None) -> Answer:
    """Return the same after one change: `set` a value, `add`, `remove` or `move` a stage.

    A change that cannot be made leaves the text and says so in `sentences`.
    """
    try:
        return opened(_changed(text, change), shown, folder)
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


def _with_value(text: str, place: list[str | int], written: str) -> str:
    """Set what a person wrote at `place`, such as ["stages", 2, "to_c"]; '' takes the key out."""
    document = tomlkit.parse(text)
    table: Any = document
    *way, key = place
    for step in way:
        if step not in table and isinstance(step, str) and step == "board":
            table[step] = tomlkit.inline_table()
        table = table[step]
    if written.strip():
        table[key] = _value(str(key), written.strip())
    elif key in table:
        del table[key]
    return tomlkit.dumps(document)


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
    stages, sensors, board = (data.get(key) for key in ("stages", "sensors", "board"))
    return {
        "head": {key: _shown(data.get(key)) for key in ("name", "alloy", "laminate", "ceiling_c")},
        "board": {key: _shown(_of(board, key)) for key in Board.model_fields},
        "sensors": {
            name: _of(one, "role") if isinstance(one, dict) else _shown(one)
            for name, one in (sensors if isinstance(sensors, dict) else {}).items()
        },
        "stages": [_stage(one) for one in (stages if isinstance(stages, list) else [])],
        "choices": {**CHOICES, "alloy": list(alloys()), "laminate": list(laminates())},
        "kinds": list(NEW_STAGES),
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
