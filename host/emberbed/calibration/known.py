"""What is known of a channel's calibration: when, at which points, what was left over.

`Known` is what the history keeps and what a run's record tells in one sentence; both forms lead
back to the same thing. Temperatures in °C, uncertainties in K, times in UTC.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from emberbed.calibration.line import standard_at

EVENT = "calibration"  # kind of the run's stored event
OLD_AFTER = timedelta(days=365)  # common practice, no source


class At(NamedTuple):
    """A point: where it really was, and the standard uncertainty of the pair."""

    true_c: float
    standard_k: float


@dataclass(frozen=True)
class Known:
    """A calibration as a reading's budget needs it."""

    name: str  # of the channel
    day: str  # 2026-11-28
    points: tuple[At, ...]
    residual_k: float

    @property
    def span_c(self) -> tuple[float, float]:
        """Return the coldest and the hottest point."""
        true_c = [point.true_c for point in self.points]
        return min(true_c), max(true_c)

    def standard_k_at(self, celsius: float) -> float:
        """Return what the points' errors come to at a temperature, beyond them too."""
        true_c, standard_k = zip(*self.points, strict=True)
        return standard_at(true_c, standard_k, celsius)

    def sentence(self) -> str:
        """Return it for a person and for `read_sentence`."""
        points = ", ".join(f"{one.true_c:.2f} ± {one.standard_k:.2f}" for one in self.points)
        return (
            f"{self.name} was calibrated on {self.day} at {points} °C, residual"
            f" {self.residual_k:.2f} °C."
        )

    def is_old(self, on_utc: str) -> bool:
        """Tell whether it was over a year before this time; a day nobody can read is old."""
        try:
            then = datetime.fromisoformat(self.day).replace(tzinfo=UTC)
            return datetime.fromisoformat(on_utc) - then > OLD_AFTER
        except (ValueError, TypeError):
            return True

    def old_words(self) -> str:
        told = f"The calibration of {self.name} was over a year old ({self.day})"
        return f"{told}: calibrate it again"


_SENTENCE = re.compile(
    r"(?P<name>.{1,60}) was calibrated on (?P<day>\d{4}-\d{2}-\d{2}) at (?P<points>[-0-9., ±]+) °C,"
    r" residual (?P<residual>\d+\.\d+) °C\."
)
_LEAST_STANDARD_K = 0.005  # half of what the sentence rounds to


def read_sentence(sentence: str) -> Known | None:
    """Return what a run's record tells of a channel, None for a sentence about anything else."""
    found = _SENTENCE.fullmatch(sentence)
    if found is None:
        return None
    try:
        pairs = [pair.split(" ± ") for pair in found["points"].split(", ")]
        points = tuple(
            At(float(true_c), max(float(standard_k), _LEAST_STANDARD_K))
            for true_c, standard_k in pairs
        )
        low_c, high_c = min(points).true_c, max(points).true_c
    except ValueError:
        return None
    if low_c == high_c:
        return None
    return Known(found["name"], found["day"], points, float(found["residual"]))
