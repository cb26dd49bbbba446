"""One recipe for many boards: a profile that names a `base` and says only what differs.

The base, a shipped profile or a file beside this one, has the stages for an alloy and a laminate;
the board's own file has its name, board, sensors, and corrections of stages. `expand` gives one
whole profile, whose text needs neither file, and a source that points each sentence at the file
that holds the mistake. BadRecipe holds (location, sentence) of the board's own file.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from emberbed.plain_text import did_you_mean, printable
from emberbed.profiles.limits import Range
from emberbed.profiles.source import ProfileSource
from emberbed.profiles.toml_lines import TomlLines
from emberbed.profiles.whole_rules import Location

BASE, CORRECTIONS, STAGE = "base", "corrections", "stage"
NAME = re.compile(r"[A-Za-z0-9_-]{1,48}")
MOST_CORRECTIONS = 64
# corrections of every stage: key, the key it works on, and how
OF_ALL: dict[str, tuple[str, Callable[[float, float], float]]] = {
    "to_c_plus": ("to_c", lambda value, by: value + by),
    "rate_times": ("rate_c_per_s", lambda value, by: value * by),
    "for_s_plus": ("for_s", lambda value, by: value + by),
}
RANGES = {
    "to_c_plus": Range(-50, 50, "°C", "more is another recipe; our choice", "both"),
    "rate_times": Range(0.1, 3, "times", "more is another recipe; our choice", "both"),
    "for_s_plus": Range(-3600, 3600, "s", "more is another recipe; our choice", "both"),
}
_DIGITS = 6  # of a corrected number: what is worked out has no more


class BadRecipe(Exception):
    """Mistakes in the board's own file, each (location, sentence without its place)."""

    def __init__(self, found: list[tuple[Location, str]]) -> None:
        super().__init__("\n".join(text for _location, text in found))
        self.found = found


@dataclass(frozen=True)
class RecipeSource(ProfileSource):
    """A whole profile out of two files; `changed` tells which correction wrote a stage's key."""

    own: ProfileSource = field(kw_only=True)
    base: ProfileSource = field(kw_only=True)
    changed: Mapping[tuple[int, str], int] = field(kw_only=True)

    def line_of(self, location: Location) -> int | None:
        """Return the line in the board's own file, None for what stands in the base."""
        return self.own.line_of(self._own(location) or ()) if location else None

    def place(self, location: Location = ()) -> str:
        """Return file, line and stage of the file that holds it."""
        own = self._own(location)
        if location and own is None:
            return self.base.place(location)
        if location[:1] != ("stages",):
            return self.own.place(location)
        line = self.own.line_of(own or ())
        stage = self.base.place(location).split("stage ", 1)[-1]
        return f"{self.shown}:{line}: stage {stage}"

    def _own(self, location: Location) -> Location | None:
        """Return where in the board's own file a location is written, None for in the base."""
        if location[:1] == ("stages",):
            number, key = (*location[1:], "", "")[:2]
            at = self.changed.get((number, str(key))) if isinstance(number, int) else None
            return None if at is None else (CORRECTIONS, at, key)
        return location if location and location[0] in self.own.data else None


def expand(own: ProfileSource, find_base: Callable[[str], ProfileSource | None]) -> RecipeSource:
    """Return the whole profile; `find_base` gives a base by its name. Raises BadRecipe."""
    base = _base(own.data[BASE], find_base)
    found = [*_shape(own.data)]
    if found:
        raise BadRecipe(found)
    data = {key: deepcopy(value) for key, value in base.data.items() if key != "accepted"}
    changed: dict[tuple[int, str], int] = {}
    stages = data.get("stages")
    for number, correction in enumerate(own.data.get(CORRECTIONS, [])):
        found += _corrected(stages if isinstance(stages, list) else [], number, correction, changed)
    if found:
        raise BadRecipe(found)
    data |= {key: one for key, one in own.data.items() if key not in (BASE, CORRECTIONS)}
    import tomlkit  # only for a profile with a base

    # tables last, or what follows them would be theirs
    data = dict(sorted(data.items(), key=lambda item: isinstance(item[1], dict | list)))
    name = printable(own.data[BASE], 60)
    text = f"# Put together from {printable(own.shown, 100)} and its base {name}.\n\n"
    text += tomlkit.dumps(data)
    return RecipeSource(own.shown, text, data, TomlLines(text), own=own, base=base, changed=changed)


def _base(written: Any, find_base: Callable[[str], ProfileSource | None]) -> ProfileSource:
    place = (BASE,)
    if not isinstance(written, str) or not NAME.fullmatch(written):
        raise BadRecipe(
            [
                (
                    place,
                    f"base = {printable(repr(written), 60)} is no name; write that of a shipped"
                    " profile, or of a file beside this one without its .toml",
                )
            ]
        )
    base = find_base(written)
    if base is None:
        said = f'there is no "{written}.toml" beside this file, and no shipped profile of that name'
        raise BadRecipe([(place, f"{said}; mend the name, or put the base there")])
    if BASE in base.data:
        raise BadRecipe(
            [(place, f"{written} has a base itself; name that one, or copy its stages")]
        )
    return base


def _shape(data: Mapping[str, Any]) -> Iterator[tuple[Location, str]]:
    if "stages" in data:
        yield (
            ("stages",),
            "a profile with a base takes its stages from there; write what differs under"
            " [[corrections]]",
        )
    if "name" not in data:
        yield (BASE,), "the key name is missing: a board's own profile has a name of its own"
    rows = data.get(CORRECTIONS, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        yield (CORRECTIONS,), "corrections are a list of tables, each under its own [[corrections]]"
    elif len(rows) > MOST_CORRECTIONS:
        yield (CORRECTIONS,), f"there are more than {MOST_CORRECTIONS}; write a recipe of its own"


def _corrected(
    stages: list[Any],
    number: int,
    correction: Mapping[str, Any],
    changed: dict[tuple[int, str], int],
) -> Iterator[tuple[Location, str]]:
    """Change the stages as one correction says; yield what cannot be."""
    where = (CORRECTIONS, number)
    if STAGE not in correction:
        yield from _corrected_all(stages, where, correction, changed)
        return
    at = correction[STAGE]
    if isinstance(at, bool) or not isinstance(at, int) or not 1 <= at <= len(stages):
        yield (
            (*where, STAGE),
            f"stage = {printable(repr(at), 20)} is no stage of the base, which has {len(stages)};"
            " write its number as check tells it",
        )
        return
    for key, value in correction.items():
        if key == "kind":
            yield (*where, key), "a correction changes no kind; write a recipe of its own"
        elif key != STAGE and isinstance(stages[at - 1], dict):
            stages[at - 1][key] = value
            changed[(at - 1, key)] = where[1]


def _corrected_all(
    stages: list[Any],
    where: tuple[str, int],
    correction: Mapping[str, Any],
    changed: dict[tuple[int, str], int],
) -> Iterator[tuple[Location, str]]:
    for key, by in correction.items():
        if key not in OF_ALL:
            mend = did_you_mean(key, [STAGE, *OF_ALL], "without a stage it holds")
            yield (*where, key), f'the key "{printable(key)}" is not known here; {mend}'
            continue
        span = RANGES[key]
        if (
            isinstance(by, bool)
            or not isinstance(by, int | float)
            or not span.least <= by <= span.most
        ):
            yield (
                (*where, key),
                f"{key} = {printable(repr(by), 20)} is not a number from {span.least:g} to"
                f" {span.most:g} {span.unit} ({span.why}); write one",
            )
            continue
        meant, change = OF_ALL[key]
        for index, stage in enumerate(stages):
            value = stage.get(meant) if isinstance(stage, dict) else None
            if isinstance(value, int | float) and not isinstance(value, bool):
                stage[meant] = round(change(value, by), _DIGITS)
                changed[(index, meant)] = where[1]
