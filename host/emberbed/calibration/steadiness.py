"""Whether a bead's reading stands still, and where it stood while solder froze around it.

Takes readings as (s, °C) of one channel; knows no device and no clock.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

# name, value, unit, why; common practice, no source, unless said otherwise
LIMITS = (
    ("WINDOW_S", 30.0, "s", "fifteen lags of a bare bead in water, and 300 conversions"),
    ("MOST_SLOPE", 0.3, "K/min", "0.15 K in the window: less than one step of the converter"),
    ("MOST_SCATTER_K", 0.5, "K", "two steps of the coarsest converter; more is loose or noisy"),
    ("LONGEST_S", 300.0, "s", "ice and a rolling boil are steady in two minutes"),
    ("PIECE_S", 8.0, "s", "a plateau must be as long; a few grams of solder freeze in 15 to 30 s"),
    ("PLATEAU_SLOPE", 6.0, "K/min", "a tenth of what a drop cools by before and after"),
    ("STEEP_SLOPE", 20.0, "K/min", "it was liquid, so it cooled; else the bead lies elsewhere"),
    ("NEAR_MELT_K", 15.0, "K", "further off no couple is, so it was something else that stood"),
)
(WINDOW_S, MOST_SLOPE, MOST_SCATTER_K, LONGEST_S, PIECE_S, PLATEAU_SLOPE, STEEP_SLOPE,
 NEAR_MELT_K) = (row[1] for row in LIMITS)  # fmt: skip
S_PER_MIN = 60.0
LEAST_READINGS = 10
Reading = tuple[float, float]  # s, °C


@dataclass(frozen=True)
class Course:
    """A straight line through readings: `slope` in K/min, `scatter_k` about it."""

    mean_c: float
    slope: float
    scatter_k: float
    seconds: float

    @property
    def steady(self) -> bool:
        return abs(self.slope) <= MOST_SLOPE and self.scatter_k <= MOST_SCATTER_K

    def doubt(self) -> str:
        """Return what is wrong with it, with the figures."""
        if abs(self.slope) > MOST_SLOPE:
            return f"it moves by {self.slope:+.1f} °C/min (at most {MOST_SLOPE:g})"
        return f"it scatters by {self.scatter_k:.2f} °C (at most {MOST_SCATTER_K:g})"


def course_of(readings: Sequence[Reading]) -> Course:
    """Return the line through at least LEAST_READINGS readings."""
    seconds, celsius = np.array(readings).T
    slope_s, at_zero_c = np.polyfit(seconds - seconds[0], celsius, 1)
    left_k = celsius - at_zero_c - slope_s * (seconds - seconds[0])
    spent_s = float(seconds[-1] - seconds[0])
    scatter_k = float(np.sqrt((left_k**2).mean()))
    return Course(float(celsius.mean()), float(slope_s) * S_PER_MIN, scatter_k, spent_s)


class SteadyWindow:
    """Keeps the newest WINDOW_S of readings; `course` is None until there are enough."""

    def __init__(self) -> None:
        self._readings: deque[Reading] = deque()
        self.course: Course | None = None

    @property
    def steady(self) -> bool:
        """Tell whether the whole window is there and stands still."""
        return self._is_full and self.course is not None and self.course.steady

    @property
    def _is_full(self) -> bool:
        return bool(self._readings) and self._readings[-1][0] - self._readings[0][0] >= WINDOW_S

    def add(self, at_s: float, celsius: float | None) -> None:
        """Take a reading; one that is missing begins the window anew."""
        if celsius is None:
            self._readings.clear()
            self.course = None
            return
        self._readings.append((at_s, celsius))
        while len(self._readings) > 2 and at_s - self._readings[1][0] >= WINDOW_S:
            self._readings.popleft()
        if len(self._readings) >= LEAST_READINGS:
            self.course = course_of(self._readings)


def find_plateau(readings: Sequence[Reading], near_c: float) -> Course | None:
    """Return the course of the flattest piece near a melting point, None where nothing stood.

    The reading must have fallen steeply before the piece, and anywhere after it.
    """
    table = np.array(readings)
    ends = np.searchsorted(table[:, 0], table[:, 0] + PIECE_S)
    best: tuple[int, int, Course] | None = None
    for first in range(0, len(table), LEAST_READINGS // 2):
        last = int(ends[first])
        if last >= len(table) or last - first < LEAST_READINGS:
            continue
        course = course_of(readings[first:last])
        if abs(course.mean_c - near_c) > NEAR_MELT_K or abs(course.slope) > PLATEAU_SLOPE:
            continue
        if best is None or abs(course.slope) < abs(best[2].slope):
            best = (first, last, course)
    if best is None or not (_falls(table[: best[0]]) and _falls(table[best[1] :])):
        return None
    return best[2]


def _falls(table: np.ndarray) -> bool:
    """Tell whether the readings fall steeply through some piece."""
    step = int(np.searchsorted(table[:, 0], table[0, 0] + PIECE_S / 2)) if len(table) else 0
    if step < LEAST_READINGS // 2 or step >= len(table):
        return False
    fell_k = table[:-step, 1] - table[step:, 1]
    spent_s = table[step:, 0] - table[:-step, 0]
    return bool((fell_k / spent_s * S_PER_MIN).max() >= STEEP_SLOPE)
