"""The controller's products stay small integers, whatever gains and boards come."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw import pid as module
from emberbed_fw import plan as layout
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.pid import (
    BEHIND_LIMIT_Q6,
    ERROR_LIMIT_CDEG,
    INTEGRAL_LIMIT,
    SlopeFilter,
)
from emberbed_fw.units import FULL_POWER_Q15, NO_READING_CDEG
from tests.support.controllers import controller, step


class Watched(int):
    """An integer that fails the test when arithmetic leaves a 31-bit small int."""

    def _keep(self, number):
        assert abs(number) <= SMALL_INT_MAX, number
        return Watched(number)


def _kept(name):
    plain = getattr(int, f"__{name}__")
    return lambda self, *others: self._keep(plain(self, *others))


for _name in ("add", "sub", "mul", "floordiv", "rshift", "lshift", "radd", "rsub", "rmul", "neg"):
    setattr(Watched, f"__{_name}__", _kept(_name))


def watched_controller(**gains):
    one = controller(**{name: Watched(value) for name, value in gains.items()})
    one.integral_q14 = Watched(0)
    for name in SlopeFilter.STATE:
        setattr(one.slope, name, Watched(getattr(one.slope, name)))
    return one


def test_watch_catches_a_product_that_is_too_large():
    with pytest.raises(AssertionError):
        Watched(40000) * 40000
    one = watched_controller(kp_q8=layout.MAX_KP_Q8 * 2, at=0)
    with pytest.raises(AssertionError):
        step(one, Watched(26000), Watched(0))


EXTREMES = dict(
    kp_q8=layout.MAX_KP_Q8, ki_q14=layout.MAX_KI_Q14, kd_q4=layout.MAX_KD_Q4,
    weight_q8=layout.MAX_WEIGHT_Q8, cap_q15=FULL_POWER_Q15,
)  # fmt: skip
# the guard lets readings of -10..350 degC through; a plan's setpoints lie in -270..260 degC
readings_cdeg = st.integers(-1000, 35000)
setpoints_cdeg = st.integers(-26999, 26000)


@pytest.mark.parametrize("shift", [0, layout.MAX_FILTER_SHIFT])
@pytest.mark.parametrize("weight_q8", [0, layout.MAX_WEIGHT_Q8])
def test_extreme_gains_and_errors_stay_small_integers(shift, weight_q8):
    chance = random.Random(3)
    one = watched_controller(**{**EXTREMES, "weight_q8": weight_q8}, shift=shift, at=-1000)
    corners = [(26000, -1000), (-26999, 35000), (26000, 35000), (-26999, -1000)]
    for number in range(4000):
        setpoint, measured = corners[chance.randrange(4)]
        slope = chance.choice((-(53000 * 64), 0, 53000 * 64))
        delivered = number % 3 > 0
        step(one, Watched(setpoint), Watched(measured), Watched(slope), Watched(32768), delivered)
    assert abs(one.integral_q14) <= INTEGRAL_LIMIT


@pytest.mark.parametrize(("setpoint", "measured"), [(26000, -1000), (-26999, 35000)])
def test_integral_at_its_limit_stays_a_small_integer(setpoint, measured):
    one = watched_controller(ki_q14=layout.MAX_KI_Q14, at=measured)
    sign = 1 if setpoint > measured else -1
    for start in (INTEGRAL_LIMIT, INTEGRAL_LIMIT - 1, -INTEGRAL_LIMIT):
        one.integral_q14 = Watched(sign * start)
        step(one, Watched(setpoint), Watched(measured))


@given(
    st.lists(st.tuples(setpoints_cdeg, readings_cdeg, st.booleans()), max_size=60),
    st.integers(0, layout.MAX_KP_Q8), st.integers(0, layout.MAX_KI_Q14),
    st.integers(0, layout.MAX_KD_Q4), st.integers(0, layout.MAX_FILTER_SHIFT),
    st.integers(0, FULL_POWER_Q15),
)  # fmt: skip
def test_any_gains_and_any_board_stay_in_range(steps, kp_q8, ki_q14, kd_q4, shift, cap_q15):
    one = watched_controller(
        kp_q8=kp_q8, ki_q14=ki_q14, kd_q4=kd_q4, cap_q15=cap_q15, shift=shift, at=2500
    )
    for setpoint, measured, delivered in steps:
        demand = step(one, Watched(setpoint), Watched(measured), delivered=delivered)
        assert 0 <= demand <= cap_q15


def test_reading_that_is_missing_at_the_start_stays_in_range():
    one = watched_controller(**EXTREMES, at=NO_READING_CDEG)
    for measured in (35000, -1000, 35000):
        step(one, Watched(26000), Watched(measured))


def test_declared_limits_multiply_to_small_integers():
    assert layout.MAX_KP_Q8 * ERROR_LIMIT_CDEG <= SMALL_INT_MAX
    assert layout.MAX_KD_Q4 * BEHIND_LIMIT_Q6 <= SMALL_INT_MAX
    assert INTEGRAL_LIMIT + layout.MAX_KI_Q14 * ERROR_LIMIT_CDEG <= SMALL_INT_MAX
    assert INTEGRAL_LIMIT >> module.KI_SHIFT > FULL_POWER_Q15, "it can give full power alone"
