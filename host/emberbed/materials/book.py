"""The materials book: solder alloys, laminates, fluxes, and what parts beside the work may get.

Data in `materials.toml` beside this file, temperatures in degrees C, each figure with its source
and status; a person's own additions come from a file of their own (`own_book`). `find_...` take the
exact name and raise UnknownMaterial, whose text is one sentence with the near names. The name
UNKNOWN is on the first three shelves too, with cautious figures.
"""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from emberbed.materials.own_book import OwnBookFault, own_path, own_shelves
from emberbed.materials.rows import SHELVES, UNKNOWN, Alloy, Flux, Laminate, Neighbour, row_of
from emberbed.plain_text import did_you_mean, printable

__all__ = ["UNKNOWN", "Alloy", "Flux", "Laminate", "Neighbour", "OwnBookFault", "own_path"]


class UnknownMaterial(LookupError):
    """No such name in the book; the text is one sentence with the mend."""


@cache
def shipped_shelves() -> Mapping[str, Mapping[str, Any]]:
    """Return the book's own rows by shelf and name."""
    data = tomllib.loads(
        (files("emberbed.materials") / "materials.toml").read_text(encoding="utf-8")
    )
    return {
        name: {row: row_of(shelf, row, table, own=False) for row, table in data[name].items()}
        for name, shelf in SHELVES.items()
    }


def shelves() -> Mapping[str, Mapping[str, Any]]:
    """Return all rows, a person's own last. Raises OwnBookFault."""
    own = own_shelves(shipped_shelves())
    return {name: {**rows, **own[name]} for name, rows in shipped_shelves().items()}


def alloys() -> Mapping[str, Alloy]:
    """Return every alloy by its name."""
    return _readable("alloys")


def laminates() -> Mapping[str, Laminate]:
    """Return every laminate by its name."""
    return _readable("laminates")


def fluxes() -> Mapping[str, Flux]:
    """Return every flux by its name."""
    return _readable("fluxes")


def neighbours() -> Mapping[str, Neighbour]:
    """Return every part that may stand beside the work, by its name."""
    return _readable("neighbours")


def find_alloy(name: str) -> Alloy:
    """Return the alloy called `name`; UnknownMaterial tells the near ones."""
    return _find("alloys", name)


def find_laminate(name: str) -> Laminate:
    """Return the laminate called `name`; UnknownMaterial tells the near ones."""
    return _find("laminates", name)


def find_flux(name: str) -> Flux:
    """Return the flux called `name`; UnknownMaterial tells the near ones."""
    return _find("fluxes", name)


def find_neighbour(name: str) -> Neighbour:
    """Return the part called `name`; UnknownMaterial tells the near ones."""
    return _find("neighbours", name)


def _readable(shelf: str) -> Mapping[str, Any]:
    """Return a shelf; without one's own rows where that file cannot be used."""
    try:
        return shelves()[shelf]
    except OwnBookFault:
        return shipped_shelves()[shelf]


def _find(shelf: str, name: str) -> Any:
    shipped = shipped_shelves()[shelf]
    if name in shipped:  # needs nobody's own file
        return shipped[name]
    what = SHELVES[shelf].what
    try:
        rows = shelves()[shelf]
    except OwnBookFault as fault:
        raise UnknownMaterial(
            f'{what} "{printable(name)}" is not in the materials book, and your own additions'
            f" cannot be read: {fault}"
        ) from None
    if name in rows:
        return rows[name]
    mend = did_you_mean(name, rows, f"the {shelf} in it are")
    raise UnknownMaterial(f'{what} "{printable(name)}" is not in the materials book; {mend}')
