"""The search on functions whose least squares are known by heart or by scipy."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from emberbed.heater.batch_fit import OnePoint, search

LEAST, MOST = np.array([-2.0, -2.0]), np.array([2.0, 3.0])


def valley(at):
    """Rosenbrock's function as residuals: 0 at (1, 1) alone."""
    return np.vstack([10 * (at[1] - at[0] ** 2), 1 - at[0]])


def test_rosenbrock():
    starts = np.array([[-1.2, 1.0], [1.8, -1.5], [0.0, 2.5]])
    points, costs = search(valley, starts, LEAST, MOST, 100)
    assert points[0] == pytest.approx([1, 1], abs=1e-5)
    assert costs[0] < 1e-9
    assert (np.diff(costs) >= 0).all()


def test_a_bound_holds():
    # inside the box the least lies on its edge; scipy finds the same
    most = np.array([0.5, 3.0])
    points, costs = search(valley, np.array([[-1.0, 1.0], [0.2, 2.0]]), LEAST, most, 100)
    reference = least_squares(
        lambda at: valley(at[:, None])[:, 0], [0.2, 0.2], bounds=(LEAST, most), xtol=1e-12
    )
    assert points[0] == pytest.approx([0.5, 0.25], abs=1e-5)
    assert costs[0] == pytest.approx(2 * reference.cost, rel=1e-6)


def test_of_many_valleys_the_deepest():
    def ripples(at):
        return np.vstack([at[0] - 3, 2 * np.sin(4 * at[0]) + 2])

    box = np.array([-10.0]), np.array([10.0])
    points, costs = search(ripples, np.linspace(-9, 9, 40)[:, None], *box, 80)
    everywhere = np.linspace(-10, 10, 200001)
    best = (ripples(everywhere[None, :]) ** 2).sum(axis=0).min()
    assert costs[0] == pytest.approx(best, abs=1e-6)


def test_one_bad_start_spoils_nothing():
    def runs_away(at):
        return np.vstack([np.where(at[0] > 1.9, 1e4, valley(at)[0]), valley(at)[1]])

    points, _costs = search(runs_away, np.array([[2.0, 0.0], [0.5, 0.5]]), LEAST, MOST, 100)
    assert points[0] == pytest.approx([1, 1], abs=1e-5)


def test_values_and_slopes_are_of_one_point():
    calls = []

    def counted(at):
        calls.append(at.shape)
        return valley(at)

    point = OnePoint(counted, LEAST, MOST)
    at = np.array([0.5, MOST[1]])  # at a bound: the difference is taken inwards
    assert point.values(at) == pytest.approx([27.5, 0.5])
    assert point.slopes(at) == pytest.approx(np.array([[-10.0, 10.0], [-1.0, 0.0]]), abs=1e-3)
    assert len(calls) == 1
    point.values(at + 0.1)
    assert len(calls) == 2
