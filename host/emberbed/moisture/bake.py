"""How long a part is to be baked at a temperature: the table, and honestly between its columns.

The table has columns for 125, 90 and 40 °C. Between two of them the time is drawn by Arrhenius'
law through both, and the colder column's time is told beside it: that one is never too short. What
is hotter than the first or colder than the last column is refused. Hours, degrees C, mm.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import exp, log

from emberbed.moisture.tables import BakeRow, NoSuchRow, bake_row

ZERO_C_K = 273.15


@dataclass(frozen=True)
class BakeTime:
    """`hours` at `oven_c`; `sure_hours` is the table's own figure on the safe side."""

    oven_c: float
    hours: float
    sure_hours: float
    between_c: tuple[int, int] | None  # the columns, None where the table itself says it
    row: BakeRow

    def sentences(self) -> list[str]:
        """Return it for a person, with where it is from and which side it errs."""
        row = self.row
        about = f"bodies up to {row.up_to_mm:g} mm, level {row.level} ({row.source}; {row.status})"
        if self.between_c is None:
            return [f"Bake {spoken_hours(self.hours)} at {self.oven_c:g} °C: {about}."]
        cold_c, hot_c = self.between_c
        if self.hours == self.sure_hours:
            return [
                f"Bake {spoken_hours(self.hours)} at {self.oven_c:g} °C: the longer of the table's"
                f" times for {cold_c} and {hot_c} °C, {about}; it errs on the long side."
            ]
        return [
            f"Bake {spoken_hours(self.sure_hours)} at {self.oven_c:g} °C to be sure: that is the"
            f" table's time for {cold_c} °C, {about}, and errs on the long side.",
            f"Drawn between its columns for {cold_c} and {hot_c} °C by Arrhenius' law it is about"
            f" {spoken_hours(self.hours)}, which the table does not say: it may be too short where"
            " the oven is cooler than it reads.",
        ]


def bake_time(
    level: str, thickness_mm: float, oven_c: float, saturated: bool, large: bool = False
) -> BakeTime:
    """Return the time for a part of this level and thickness. Raises NoSuchRow.

    saturated: it lay in damp air, or nobody knows; else kept at up to 30 °C and 60 % RH.
    """
    row = bake_row(level, thickness_mm, large)
    column = 0 if saturated else 1
    ovens = sorted(row.hours)
    if not ovens[0] <= oven_c <= ovens[-1]:
        raise NoSuchRow(
            f"{oven_c:g} °C is outside the bake table, which goes from {ovens[0]} to {ovens[-1]}"
            " °C; choose a temperature in it"
        )
    if oven_c in row.hours:
        hours = row.hours[int(oven_c)][column]
        return BakeTime(oven_c, hours, hours, None, row)
    cold_c, hot_c = next(pair for pair in pairwise(ovens) if pair[0] < oven_c < pair[1])
    long_h, short_h = row.hours[cold_c][column], row.hours[hot_c][column]
    if short_h >= long_h:  # a large array: its hot column says more than its cold one
        return BakeTime(oven_c, short_h, short_h, (cold_c, hot_c), row)
    hours = between(oven_c, (cold_c, long_h), (hot_c, short_h))
    return BakeTime(oven_c, hours, long_h, (cold_c, hot_c), row)


def between(oven_c: float, cold: tuple[float, float], hot: tuple[float, float]) -> float:
    """Return the time at `oven_c` by Arrhenius' law through two (degrees C, time)."""
    here, low, high = (1 / (degrees + ZERO_C_K) for degrees in (oven_c, cold[0], hot[0]))
    return exp(log(hot[1]) + (log(cold[1]) - log(hot[1])) * (here - high) / (low - high))


def spoken_hours(hours: float, days_from_h: float = 72.0) -> str:
    """Return a time as a person says it, in days from `days_from_h` on."""
    return f"{hours / 24:.3g} days" if hours >= days_from_h else f"{hours:.3g} h"
