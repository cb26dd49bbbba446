"""The planned power between two knots, and no jump where a run leaves its plan or returns."""

import pytest

from emberbed_fw import knots
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.pid import INTEGRAL_LIMIT, Pid
from emberbed_fw.units import FULL_POWER_Q15, KI_SHIFT


class Line:
    """A plan's two columns that are asked for here."""

    knot = {"tick": [0, 100, 300], "setpoint_cdeg": [2000, 3000, 5000]}
    feedforward_q15 = [[0, 20000, 10000]]


@pytest.mark.parametrize(
    ("tick", "power"), [(0, 0), (25, 5000), (100, 20000), (150, 17500), (300, 10000), (900, 10000)]
)
def test_power_lies_on_the_line_between_two_knots(tick, power):
    knot = knots.knot_at(Line, 0, 2, tick)
    assert knots.feedforward_q15(Line, 0, knot, 2, tick) == power


def pid():
    names = ("kp0_q8", "ki0_q14", "kd0_q4", "weight0_q8", "filter0_shift")
    return Pid({**dict.fromkeys(names, 0), "weight0_q8": 256, "cap0_q15": FULL_POWER_Q15}, 0)


def demand(one, off_plan, feedforward):
    one.follow(off_plan, feedforward)
    one.step(5000, 0, 5000, feedforward, True, 0, FULL_POWER_Q15)
    return one.demand_q15


def test_demand_goes_on_when_a_run_leaves_its_plan_and_when_it_returns():
    one = pid()
    assert demand(one, 0, 9000) == 9000
    assert demand(one, 1, 0) == 9000, "the integral holds what the plan gave"
    assert demand(one, 1, 0) == 9000
    assert demand(one, 0, 7000) == 9000, "back on the plan, without a jump"


def test_steps_of_the_plan_itself_are_wanted():
    one = pid()
    demand(one, 0, 9000)
    assert demand(one, 0, 20000) == 20000


@pytest.mark.parametrize("before", [INTEGRAL_LIMIT, -INTEGRAL_LIMIT])
def test_what_the_integral_takes_over_stays_a_small_integer(before):
    one = pid()
    one.follow(0, FULL_POWER_Q15)
    one.integral_q14 = before
    one.follow(1, 0)
    assert abs(one.integral_q14) <= INTEGRAL_LIMIT <= SMALL_INT_MAX
    assert abs(one.integral_q14) >> KI_SHIFT <= 2 * FULL_POWER_Q15
