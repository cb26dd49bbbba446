"""A new revision being written: its stages so far, the level they have reached, what to tell.

A stage is the `original` one by its number from 0 with some values changed, or a new one with all
of its values. Ramps that lead nowhere are left out as they come.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from emberbed.profiles.limits import RANGES
from emberbed.report.display import clock
from emberbed.revise.course import Standing
from emberbed_fw.units import TICKS_PER_S

Values = dict[str, Any]
LEAST_STEP_C = 0.5  # a shorter ramp is none
LEAST_HOLD_S = RANGES["for_s"].least
COLDEST_C = RANGES["to_c"].least


class Piece(NamedTuple):
    """A stage to be written; the first `own` one that is, is the file's stage with its comments."""

    values: Values
    own: bool = False


@dataclass
class Part:
    """One stage of the new revision."""

    original: int | None
    values: Values = field(default_factory=dict)


@dataclass
class Draft:
    """`sentences` say what was changed, `kept` what was done and changes nothing in a profile."""

    parts: list[Part] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    level_c: float | None = None  # None: not known yet
    heated: bool = False  # by a ramp, which a hold needs before it
    ramp: Values = field(default_factory=dict)  # the newest; a new one takes its values

    def put(
        self,
        pieces: Sequence[Piece],
        number: int | None = None,
        row: Mapping[str, Any] | None = None,
    ) -> bool:
        """Write stages, one of them for stage `number` of the file, which holds `row`; tell whether
        that was written too."""
        written = row is None
        for values, own in pieces:
            if values["kind"] == "ramp":
                if self.level_c is not None and abs(values["to_c"] - self.level_c) < LEAST_STEP_C:
                    continue
                self.level_c = values["to_c"]
                self.heated = True
            if row is not None and not written and own and values["kind"] == row["kind"]:
                written = True
                changed = {key: value for key, value in values.items() if row.get(key) != value}
                self.parts.append(Part(number, changed))
            else:
                self.parts.append(Part(None, dict(values)))
        return written

    def ramp_to(self, to_c: float, rate_c_per_s: float | None = None) -> Values:
        """Return a ramp like the newest one, with a longest time only where it is as steep."""
        if rate_c_per_s is None:
            return {**self.ramp, "to_c": as_written(to_c)}
        values = {key: value for key, value in self.ramp.items() if key != "longest_s"}
        return {**values, "to_c": as_written(to_c), "rate_c_per_s": rate_c_per_s}

    def standing_pieces(self, title: str, standing: Standing) -> list[Piece]:
        """Return the way to a level that a person held, and the hold; none for what is no hold."""
        there_s = standing.there_s()
        where = f"{title}: the hold at {degrees(standing.level_c)}"
        if standing.ticks < LEAST_HOLD_S * TICKS_PER_S:
            return []
        if there_s < LEAST_HOLD_S:
            self.kept.append(f"{where} is left out, as the board did not get there.")
            return []
        if standing.level_c < COLDEST_C:
            self.kept.append(f"{where} is left out, as targets begin at {COLDEST_C:g} °C.")
            return []
        if not self.heated and standing.level_c - (self.level_c or 0) < LEAST_STEP_C:
            self.kept.append(f"{where} is left out, as nothing had been heated by then.")
            return []
        did = "you went back to" if standing.back else "you held"
        self.sentences.append(
            f"{title}: {did} {degrees(standing.level_c)} for {clock(there_s)}, now a hold of its"
            " own."
        )
        hold = {"kind": "hold", "for_s": as_written(there_s)}
        if not standing.back:
            return [Piece(self.ramp_to(standing.level_c), own=True), Piece(hold)]
        down = self.ramp_to(standing.level_c, self._rate_back(standing))
        return [Piece(self.ramp_to(standing.from_c), own=True), Piece(down), Piece(hold)]

    def _rate_back(self, standing: Standing) -> float:
        """Return how fast the board went back: it falls more slowly than it was heated."""
        way_c = abs(standing.from_c - standing.level_c)
        way_s = max(standing.reach_ticks or 0, 1) / TICKS_PER_S
        least, usual = RANGES["rate_c_per_s"].least, self.ramp["rate_c_per_s"]
        return max(least, min(usual, round(way_c / way_s, 2)))


def as_written(value: float) -> int | float:
    """Return a number as a person writes it: whole, or with one place."""
    rounded = round(value, 1)
    return int(rounded) if rounded == int(rounded) else rounded


def degrees(celsius: float) -> str:
    return f"{as_written(celsius)} °C"
