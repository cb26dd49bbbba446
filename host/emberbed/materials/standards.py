"""What J-STD-020 classifies packages by, for the revision that is asked for.

Data in `standards.toml` beside this file. `classification` gives the limits of a revision for a
leaded or lead-free process, `package_rating` what a package of a thickness and volume is rated for.
degC, s, mm, mm3 (body only: without balls, leads and heatsinks).
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from emberbed.materials.rows import Sourced

REVISIONS = ("J-STD-020D", "J-STD-020C")
SMALL_MM3, LARGE_MM3 = 350.0, 2000.0  # below the first, and above the second, other columns


@dataclass(frozen=True)
class Classification:
    """One revision's limits for one process; `source` names the revision."""

    revision: str
    soak_low_c: float
    soak_high_c: float
    soak_least_s: float
    soak_most_s: float
    liquid_c: float
    liquid_least_s: float
    liquid_most_s: float
    to_peak_s: float
    up_c_per_s: float
    down_c_per_s: float
    passes: int
    source: str
    status: str


@cache
def _data() -> Mapping[str, Any]:
    text = (files("emberbed.materials") / "standards.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def classification(revision: str, leaded: bool) -> Classification:
    """Return the limits of a revision (one of REVISIONS)."""
    book = _data()[revision]
    process = {key: value for key, value in _process(revision, leaded).items() if key != "packages"}
    shared = {key: value for key, value in book.items() if key not in ("lead_free", "leaded")}
    return Classification(revision, **process, **shared)


def package_rating(revision: str, leaded: bool, thickness_mm: float, volume_mm3: float) -> Sourced:
    """Return the highest temperature of a package's body, with its source."""
    rows = _process(revision, leaded)["packages"]
    row = next(row for row in rows if _holds(row, thickness_mm))
    column = 0 if volume_mm3 < SMALL_MM3 else 1 if volume_mm3 <= LARGE_MM3 else 2
    table = "4-1" if leaded else "4-2"
    status = row.get("status", _data()[revision]["status"])
    return Sourced(row["rated_c"][column], f"{revision} table {table}", status)


def _process(revision: str, leaded: bool) -> Mapping[str, Any]:
    return _data()[revision]["leaded" if leaded else "lead_free"]


def _holds(row: Mapping[str, Any], thickness_mm: float) -> bool:
    if "below_mm" in row:
        return thickness_mm < row["below_mm"]
    return thickness_mm <= row.get("up_to_mm", float("inf"))
