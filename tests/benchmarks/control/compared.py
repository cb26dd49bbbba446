"""All controllers side by side on the same heaters and profile, each judged by its own optimum.

`compare` runs one kind of emitters: the nominal heater first, then mismatched ones. Ours is the
firmware; the others see the same noise level and converter steps. `ratios` are against the optimum
of the very heater that was driven.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.control.baselines import (
    Job,
    library_gains,
    published,
    run_library,
    run_pid,
)
from tests.benchmarks.control.heaters import NOMINAL, Mismatch
from tests.benchmarks.control.jobs import FEASIBLE, Timeline, profile_of, timeline
from tests.benchmarks.control.known_optima import compute, known
from tests.benchmarks.control.ours import heater_file, run_ours
from tests.benchmarks.control.scores import Score, score

OURS, LIBRARY, OPTIMUM = "ours (integers, firmware)", "general-purpose library", "optimum"
SEED = 1


@dataclass(frozen=True)
class Compared:
    """Scores by controller, one for each heater (the nominal one first); its optimum's RMSE."""

    kind: str
    heaters: Sequence[Mismatch]
    scores: dict[str, list[Score]]
    courses: dict[str, np.ndarray]  # of the nominal heater, readings in degC by tick
    line: Timeline
    optimum_c: list[float | None]  # None where the optimum was not computed

    def ratios(self, controller: str) -> np.ndarray:
        """Return RMSE over the heater's own optimum, for those with an optimum."""
        found = zip(self.scores[controller], self.optimum_c, strict=True)
        return np.array([one.rmse_c / best_c for one, best_c in found if best_c])


def compare(kind: str, mismatched: Sequence[Mismatch], optima: int) -> Compared:
    """Compare on the nominal heater and these; optima that are not known yet are
    computed for the first `optima` heaters."""
    heaters = [NOMINAL, *mismatched]
    profile = profile_of(FEASIBLE[kind])
    lines = [timeline(profile, one.room_c) for one in heaters]
    job = Job(kind, heaters, lines)
    scores: dict[str, list[Score]] = {}
    courses: dict[str, np.ndarray] = {}
    best = [known(kind, one) for one in heaters]
    for number in range(min(optima, len(heaters))):
        best[number] = best[number] or compute(kind, heaters[number], lines[number])
    if best[0] is not None:
        courses[OPTIMUM] = best[0].course_c(lines[0])
    for name, gains in published(heater_file(kind)).items():
        runs = run_pid(job, [gains] * len(heaters), SEED)
        scores[name], courses[name] = _judged(runs.reading_c, lines)
    first = published(heater_file(kind))["SIMC"]
    gains = library_gains(kind, lines[0], first, NOMINAL)
    runs = run_library(job, [gains] * len(heaters), SEED)
    scores[LIBRARY], courses[LIBRARY] = _judged(runs.reading_c, lines)
    ours = [run_ours(kind, one, profile, SEED).reading_c for one in heaters]
    scores[OURS] = [score(read_c, line) for read_c, line in zip(ours, lines, strict=True)]
    courses[OURS] = ours[0]
    rmse_c = [None if one is None else one.rmse_c for one in best]
    return Compared(kind, heaters, scores, courses, lines[0], rmse_c)


def _judged(reading_c: np.ndarray, lines: Sequence[Timeline]) -> tuple[list[Score], np.ndarray]:
    """Return each heater's score, and the course of the first one."""
    own = [column[-len(line.setpoint_c) :] for column, line in zip(reading_c.T, lines, strict=True)]
    return [score(read_c, line) for read_c, line in zip(own, lines, strict=True)], own[0]
