"""The optimum of each heater: full knowledge of that heater, its room and the whole profile."""

import numpy as np

from emberbed.limit.optimum import Heater, Optimum, Wanted, best_power
from tests.benchmarks.control.heaters import (
    CELLS,
    QUICK_CELLS,
    TICKS_PER_S,
    Batch,
    Mismatch,
)
from tests.benchmarks.control.jobs import Timeline

STEP_S = 2.0
OVERSHOOT_C = 1.0  # that the optimum may have in a hold


def optimum_of(kind: str, mismatch: Mismatch, line: Timeline) -> Optimum:
    """Return the best course of one heater."""
    wanted = wanted_of(line)
    quick = heater_of(kind, mismatch, QUICK_CELLS)
    near = best_power(quick, wanted)  # a coarse board leads close to the optimum
    return best_power(heater_of(kind, mismatch, CELLS), wanted, first=near.power, pulsed=quick)


def wanted_of(line: Timeline, overshoot_c: float = OVERSHOOT_C) -> Wanted:
    """Return a timeline in steps; its last piece of a step is left out."""
    ticks = round(STEP_S * TICKS_PER_S)
    asked_c, hold = line.setpoint_c[ticks - 1 :: ticks], line.hold[ticks - 1 :: ticks]
    return Wanted(STEP_S, asked_c, np.where(hold > 0, asked_c + overshoot_c, np.inf))


def heater_of(kind: str, mismatch: Mismatch, cells: tuple[int, int]) -> Heater:
    """Return a heater for best_power: from power in steps of STEP_S to the bead in degC."""

    def run(power: np.ndarray) -> np.ndarray:
        batch = Batch(kind, [mismatch] * power.shape[1], cells)
        return batch.steps(power, round(STEP_S * TICKS_PER_S))

    return run
