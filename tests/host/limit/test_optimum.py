"""The optimum, against another solver on a linear heater, and against what physics allows."""

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from emberbed.limit.optimum import Wanted, best_power

STEPS, STEP_S = 60, 2.0


def linear_heater(power):
    """Two lags of 10 and 60 s, 200 K at full power, stepped exactly enough."""
    emitter, board = np.zeros(power.shape[1]), np.zeros(power.shape[1])
    read = np.empty_like(power)
    for step, held in enumerate(power):
        for _ in range(20):
            emitter = emitter + 0.1 * (200 * held - emitter) / 10
            board = board + 0.1 * (emitter - board) / 60
        read[step] = board
    return read


def wanted(rate=0.5, most_c=np.inf):
    asked = np.minimum(rate * STEP_S * np.arange(1, STEPS + 1), 40.0)
    return Wanted(STEP_S, asked, np.where(asked >= 40.0, most_c, np.inf))


@pytest.fixture(scope="module")
def answers():
    """The linear heater's exact answers to power, [step, step]."""
    return linear_heater(np.eye(STEPS))


@pytest.mark.parametrize("rate", [0.3, 0.5, 2.0])
def test_another_solver_finds_the_same_optimum(answers, rate):
    """scipy's bounded least squares on the exact answers; a little smoothing is in both."""
    ours = best_power(linear_heater, wanted(rate), smooth_c=0.1)
    rows = np.vstack([answers, 0.1 * np.diff(np.eye(STEPS), axis=0)])
    sides = np.append(wanted(rate).reading_c, np.zeros(STEPS - 1))
    theirs = lsq_linear(rows, sides, (0, 1), method="bvls", tol=1e-10)
    rmse = np.sqrt(np.mean((answers @ theirs.x - wanted(rate).reading_c) ** 2))
    assert ours.rmse_c == pytest.approx(rmse, rel=0.02)
    assert ours.power.min() >= 0 and ours.power.max() <= 1


def test_reading_that_may_not_be_passed_is_not_passed():
    free = best_power(linear_heater, wanted(2.0))
    held = best_power(linear_heater, wanted(2.0, most_c=40.2))
    flat = np.isfinite(wanted(2.0, 40.2).most_c)
    assert free.reading_c[flat].max() > 40.25
    assert held.reading_c[flat].max() < 40.21
    assert held.rmse_c >= free.rmse_c


def test_less_power_is_never_better():
    assert (
        best_power(linear_heater, wanted(), 0.3).rmse_c > best_power(linear_heater, wanted()).rmse_c
    )
