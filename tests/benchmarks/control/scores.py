"""Figures of one course against the unheld timeline; times beyond it count as late."""

from typing import NamedTuple

import numpy as np

from tests.benchmarks.control.heaters import TICKS_PER_S
from tests.benchmarks.control.jobs import Timeline

BAND_C = 2.0  # of a soak


class Score(NamedTuple):
    """rmse_c over the whole timeline, worst overshoot in a hold, soak inside the band from first
    entry on (percent of wall ticks, worst hold), and how much longer it took (percent)."""

    rmse_c: float
    overshoot_c: float
    soak_percent: float
    longer_percent: float


def score(reading_c: np.ndarray, line: Timeline) -> Score:
    """Judge a course whose first tick is the timeline's; what is beyond its end only takes time."""
    ticks = len(line.setpoint_c)
    read_c = np.append(reading_c[:ticks], np.full(max(ticks - len(reading_c), 0), reading_c[-1]))
    off_c = read_c - line.setpoint_c
    holds = [off_c[line.hold == number] for number in range(1, line.hold.max() + 1)]
    return Score(
        float(np.sqrt(np.mean(off_c**2))),
        float(max(hold.max() for hold in holds)),
        float(min(_inside_percent(hold) for hold in holds)),
        100 * (len(reading_c) / ticks - 1),
    )


def _inside_percent(hold_off_c: np.ndarray) -> float:
    inside = np.abs(hold_off_c) <= BAND_C
    if not inside.any():
        return 0.0
    return float(100 * inside[inside.argmax() :].mean())


def lateness_s(reading_c: np.ndarray, line: Timeline) -> float:
    """Return how many seconds longer a course took."""
    return (len(reading_c) - len(line.setpoint_c)) / TICKS_PER_S
