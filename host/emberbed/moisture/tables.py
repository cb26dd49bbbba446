"""The moisture tables: floor life by sensitivity level, bake times by thickness and level.

Data in `tables.toml` beside this file. Hours, mm, degrees C. `level_of` refuses a level that does
not exist with one sentence (NoSuchRow).
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from emberbed.plain_text import printable

LEVELS = ("1", "2", "2a", "3", "4", "5", "5a", "6")
AS_LEVEL = {"2": "2a"}  # level 2 has no row of its own
THICKEST_MM = 4.5


class NoSuchRow(ValueError):
    """The tables have nothing for this; the text is one sentence with the mend."""


@dataclass(frozen=True)
class FloorLife:
    """Hours out of the bag at no more than 30 °C and 60 % RH; None: no end, 0: bake before use."""

    level: str
    hours: float | None
    source: str
    status: str


@dataclass(frozen=True)
class BakeRow:
    """Hours by oven temperature: (saturated, beyond its floor life at 30 °C and 60 % RH)."""

    up_to_mm: float
    level: str
    hours: Mapping[int, tuple[float, float]]
    source: str
    status: str


@cache
def _data() -> Mapping[str, Any]:
    text = (files("emberbed.moisture") / "tables.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def level_of(written: str) -> str:
    """Return a sensitivity level as the tables call it."""
    level = written.strip().casefold().removeprefix("msl").strip(" -")
    if level not in LEVELS:
        raise NoSuchRow(
            f'"{printable(written, 20)}" is no moisture level; the levels on the bag are'
            f" {', '.join(LEVELS)}"
        )
    return level


def floor_life(level: str) -> FloorLife:
    """Return how long a part of this level may be out of its bag."""
    row = _data()["floor_life"][level]
    return FloorLife(level, row.get("hours"), row["source"], row["status"])


def bake_row(level: str, thickness_mm: float, large: bool) -> BakeRow:
    """Return the row of the bake table: that of the next thicker bodies. Raises NoSuchRow."""
    if level in ("1", "6"):
        why = "needs none" if level == "1" else "is baked as its label says"
        raise NoSuchRow(f"the bake table has no row for level {level}, which {why}")
    if not 0 < thickness_mm <= THICKEST_MM:
        raise NoSuchRow(
            f"a body of {thickness_mm:g} mm is not in the bake table, which ends at"
            f" {THICKEST_MM:g} mm; ask the part's maker"
        )
    named = AS_LEVEL.get(level, level)
    row = next(row for row in _data()["bake"] if thickness_mm <= row["up_to_mm"] and named in row)
    hours = {int(oven_c): (wet, aired) for oven_c, (wet, aired) in row[named].items()}
    source, status = row["source"], row["status"]
    if large:
        longest, about = _data()["large"], max(hours)
        hours[about] = (longest["hours_at_125"],) * 2
        source, status = f"{source}; ball array beyond 17 x 17 mm", longest["status"]
    return BakeRow(row["up_to_mm"], level, hours, source, status)
