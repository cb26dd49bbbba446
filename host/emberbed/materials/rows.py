"""The shapes of the materials book's rows, and how a row of a file becomes one or is refused.

`SHELVES` names what may stand in a file: each shelf with its keys, their units and ranges. `row_of`
takes a bare table and gives a row, or raises BadRow: one sentence, naming the key and the mend.
Temperatures in degrees C.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from emberbed.plain_text import did_you_mean, printable

UNKNOWN = "unknown"
STATUSES = ("confirmed", "computed", "from memory", "yours")
OWN = STATUSES[-1]  # of rows in a person's own file


class BadRow(ValueError):
    """A row that cannot be used; the text is one sentence without its place."""


@dataclass(frozen=True)
class Sourced:
    """One figure, where it was read, and how sure that is (one of STATUSES)."""

    value: float
    source: str
    status: str


@dataclass(frozen=True)
class Alloy:
    """A solder: solid up to `solidus_c`, liquid from `liquidus_c`; `leaded`: parts of its time
    are rated for less heat."""

    name: str
    solidus_c: float
    liquidus_c: float
    source: str
    status: str
    leaded: bool = False

    def spoken(self) -> str:
        """Return its name as it stands in a sentence."""
        return "an unknown alloy" if self.name == UNKNOWN else self.name


@dataclass(frozen=True)
class Laminate:
    """A board material: glass transition, and where known, decomposition and minutes at heat."""

    name: str
    tg: Sourced
    td: Sourced | None = None
    t260: Sourced | None = None
    t288: Sourced | None = None

    @property
    def tg_c(self) -> float:
        """Return the glass transition."""
        return self.tg.value

    @property
    def source(self) -> str:
        """Return where the glass transition was read."""
        return self.tg.source

    def spoken(self) -> str:
        """Return its name as it stands in a sentence."""
        return "an unknown laminate" if self.name == UNKNOWN else self.name


@dataclass(frozen=True)
class Flux:
    """Cleans from `active_from_c` on; used up by more than `soak_longest_s` above `soak_from_c`."""

    name: str
    active_from_c: float
    soak_from_c: float
    soak_longest_s: float
    source: str
    status: str

    def spoken(self) -> str:
        """Return its name as it stands in a sentence."""
        return "an unknown flux" if self.name == UNKNOWN else f"{self.name} flux"


@dataclass(frozen=True)
class Neighbour:
    """A part beside the work and what its body may get."""

    name: str
    limit_c: float
    source: str
    status: str


class Key(NamedTuple):
    """A number of a row: unit, range, and whether a row may leave it out."""

    unit: str
    least: float
    most: float
    needed: bool = True


class Shelf(NamedTuple):
    """What is called `what` in sentences; `sourced`: each figure has a source of its own."""

    what: str
    keys: Mapping[str, Key]
    make: Callable[..., Any]
    sourced: bool = False
    flags: tuple[str, ...] = ()


def _laminate(name: str, **given: Sourced) -> Laminate:
    ends = {"tg_c": "tg", "td_c": "td", "t260_min": "t260", "t288_min": "t288"}
    return Laminate(name, **{ends[key]: value for key, value in given.items()})


SHELVES = {
    "alloys": Shelf(
        "alloy",
        {"solidus_c": Key("°C", 60, 350), "liquidus_c": Key("°C", 60, 350)},
        Alloy,
        flags=("leaded",),
    ),
    "laminates": Shelf(
        "laminate",
        {
            "tg_c": Key("°C", 60, 350),
            "td_c": Key("°C", 150, 600, needed=False),
            "t260_min": Key("min", 0.1, 1000, needed=False),
            "t288_min": Key("min", 0.1, 1000, needed=False),
        },
        _laminate,
        sourced=True,
    ),
    "fluxes": Shelf(
        "flux",
        {
            "active_from_c": Key("°C", 40, 250),
            "soak_from_c": Key("°C", 40, 250),
            "soak_longest_s": Key("s", 10, 7200),
        },
        Flux,
    ),
    "neighbours": Shelf("neighbour", {"limit_c": Key("°C", 40, 260)}, Neighbour),
}


def row_of(shelf: Shelf, name: str, table: Any, own: bool) -> Any:
    """Return the row; in a person's own file a status may be left out."""
    if not isinstance(table, Mapping):
        raise BadRow(f"this is no table; write {_example(shelf)}")
    known = [*shelf.keys, *shelf.flags, "source", "status"]
    for key in table:
        if key not in known:
            mend = did_you_mean(key, known, "the keys here are")
            raise BadRow(f'the key "{printable(key)}" is not known here; {mend}')
    about = {} if shelf.sourced else _about(table, own)
    figures = {
        key: _figure(shelf, key, table, own) for key in shelf.keys if _has(shelf, key, table)
    }
    flags = {key: _flag(key, table[key]) for key in shelf.flags if key in table}
    if "liquidus_c" in figures and figures["liquidus_c"] < figures["solidus_c"]:
        raise BadRow(
            f"liquidus_c = {figures['liquidus_c']:g} is below solidus_c ="
            f" {figures['solidus_c']:g}, and solder is solid first; write both from its sheet"
        )
    return shelf.make(name, **figures, **about, **flags)


def _has(shelf: Shelf, key: str, table: Mapping[str, Any]) -> bool:
    if key not in table and shelf.keys[key].needed:
        raise BadRow(f"the key {key} is missing; write {_example(shelf)}")
    return key in table


def _figure(shelf: Shelf, key: str, table: Mapping[str, Any], own: bool) -> Any:
    written = table[key]
    if not shelf.sourced:
        return _number(key, shelf.keys[key], written)
    if not isinstance(written, Mapping):  # short: the row's own source is meant
        written = {"value": written} | {k: table[k] for k in ("source", "status") if k in table}
    return Sourced(_number(key, shelf.keys[key], written.get("value")), **_about(written, own))


def _number(key: str, span: Key, written: Any) -> float:
    is_number = isinstance(written, (int, float)) and not isinstance(written, bool)
    if not is_number or not span.least <= written <= span.most:
        raise BadRow(
            f"{key} = {printable(repr(written), 40)} is not a number from {span.least:g} to"
            f" {span.most:g} {span.unit}; write one"
        )
    return written


def _flag(key: str, written: Any) -> bool:
    if not isinstance(written, bool):
        raise BadRow(f"{key} is not true or false; write one of them, without quotes")
    return written


def _about(table: Mapping[str, Any], own: bool) -> dict[str, str]:
    source, status = table.get("source"), table.get("status", OWN if own else None)
    if not isinstance(source, str) or not source.strip():
        raise BadRow('it has no source; write source = "..." with where the figures were read')
    if status not in STATUSES:
        raise BadRow(f"status is none of {', '.join(STATUSES)}; write one of them in quotes")
    return {"source": printable(source, 200), "status": status}


def _example(shelf: Shelf) -> str:
    keys = ", ".join(f"{key} = ..." for key, span in shelf.keys.items() if span.needed)
    return f'{{ {keys}, source = "..." }}'
