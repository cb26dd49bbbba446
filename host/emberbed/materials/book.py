"""The materials book: melting range of solder alloys, glass transition of laminates.

Data in `materials.toml` beside this file, temperatures in degrees C, each row with its source.
`find_alloy` and `find_laminate` take the exact name and raise UnknownMaterial, whose text is one
sentence with the near names. The name UNKNOWN is in the book too, with cautious figures.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from emberbed.plain_text import did_you_mean, printable

UNKNOWN = "unknown"


@dataclass(frozen=True)
class Alloy:
    """A solder: solid up to `solidus_c`, liquid from `liquidus_c`; `leaded`: parts of its time
    are rated for less heat."""

    name: str
    solidus_c: float
    liquidus_c: float
    source: str
    leaded: bool = False

    def spoken(self) -> str:
        """Return its name as it stands in a sentence."""
        return "an unknown alloy" if self.name == UNKNOWN else self.name


@dataclass(frozen=True)
class Laminate:
    """A board material with its glass transition temperature."""

    name: str
    tg_c: float
    source: str

    def spoken(self) -> str:
        """Return its name as it stands in a sentence."""
        return "an unknown laminate" if self.name == UNKNOWN else self.name


class UnknownMaterial(LookupError):
    """No such name in the book; the text is one sentence with the mend."""


@cache
def _book() -> dict[str, dict[str, dict]]:
    return tomllib.loads(
        (files("emberbed.materials") / "materials.toml").read_text(encoding="utf-8")
    )


@cache
def alloys() -> Mapping[str, Alloy]:
    """Return every alloy by its name."""
    return {name: Alloy(name, **row) for name, row in _book()["alloys"].items()}


@cache
def laminates() -> Mapping[str, Laminate]:
    """Return every laminate by its name."""
    return {name: Laminate(name, **row) for name, row in _book()["laminates"].items()}


def find_alloy(name: str) -> Alloy:
    """Return the alloy called `name`; UnknownMaterial tells the near ones."""
    return _find(alloys(), "alloy", name)


def find_laminate(name: str) -> Laminate:
    """Return the laminate called `name`; UnknownMaterial tells the near ones."""
    return _find(laminates(), "laminate", name)


def _find(shelf, what: str, name: str):
    if name in shelf:
        return shelf[name]
    mend = did_you_mean(name, shelf, f"the {what}s in it are")
    raise UnknownMaterial(f'{what} "{printable(name)}" is not in the materials book; {mend}')
