"""One power for heaters that are not told apart yet: against its closed form, and its ends."""

import numpy as np

from emberbed.limit.optimum import Optimum, Wanted
from tests.benchmarks.control.told_late import common_power

STEPS = 6


def heater(gain, rmse_c):
    """A heater whose reading is its power times a gain, 1 K wanted; its course is off by rmse_c."""
    wanted = Wanted(2.0, np.ones(STEPS), np.full(STEPS, np.inf))
    power = np.full(STEPS, (1 + rmse_c) / gain)
    return Optimum(wanted, power, gain * power), gain * np.eye(STEPS)


def test_one_power_for_all_of_the_time_is_the_weighted_least_squares():
    heaters = [(2.0, 0.1), (3.0, 0.2)]
    own, slopes = zip(*(heater(*one) for one in heaters), strict=True)
    gains, weights = np.array(heaters)[:, 0], 1 / np.array(heaters)[:, 1] ** 2
    closed = (weights * gains).sum() / (weights * gains**2).sum()
    np.testing.assert_allclose(common_power(own, slopes, STEPS), closed, atol=1e-6)


def test_one_power_never_leaves_what_there_is():
    own, slopes = heater(0.5, 0.1)  # would need twice its power
    np.testing.assert_allclose(common_power([own], [slopes], STEPS), 1.0, atol=1e-6)


def test_a_single_heater_needs_no_telling():
    own, slopes = heater(2.0, 0.1)
    np.testing.assert_allclose(common_power([own], [slopes], 3), 0.5, atol=1e-6)
