"""The controller: hand-computed steps, anti-windup, and products that stay small integers."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw import pid as module
from emberbed_fw import plan as layout
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.pid import (
    BEHIND_LIMIT_Q6,
    CATCH_UP_SHIFT,
    CATCH_UP_TICKS,
    ERROR_LIMIT_CDEG,
    INTEGRAL_LIMIT,
    Pid,
    SlopeFilter,
)
from emberbed_fw.units import FULL_POWER_Q15, NO_READING_CDEG


def controller(kp_q8=0, ki_q14=0, kd_q4=0, weight_q8=256, cap_q15=FULL_POWER_Q15, shift=0, at=0):
    header = {
        "kp0_q8": kp_q8, "ki0_q14": ki_q14, "kd0_q4": kd_q4, "weight0_q8": weight_q8,
        "cap0_q15": cap_q15, "filter0_shift": shift,
    }  # fmt: skip
    one = Pid(header, 0)
    one.reset(at)
    return one


def step(
    one, setpoint=0, measured=0, slope=0, feedforward=0, delivered=True,
    least=0, most=FULL_POWER_Q15,
):  # fmt: skip
    one.step(setpoint, slope, measured, feedforward, delivered, least, most)
    return one.demand_q15


# Worked by hand from the formula in the module's head.


def test_proportional_part():
    # 2.5 q15 per cdeg (Kp 640/256) times 1000 cdeg
    assert step(controller(kp_q8=640, at=4000), 5000, 4000) == 2500


def test_setpoint_weight_moves_only_the_setpoint():
    # 640/256 * (128/256 * 5000 - 2000) = 1250
    assert step(controller(kp_q8=640, weight_q8=128, at=2000), 5000, 2000) == 1250


def test_integral_part_acts_from_the_next_tick_on():
    one = controller(ki_q14=16384, at=4900)
    assert step(one, 5000, 4900) == 0
    assert one.integral_q14 == 16384 * 100
    assert step(one, 5000, 4900) == 100
    assert step(one, 5000, 4900) == 200


def test_derivative_brakes_a_rising_board_and_helps_a_rising_plan():
    # Kd 1600/16 = 100 q15 per (cdeg per tick); no filter: a rise of 5 cdeg is a slope of 5
    one = controller(kd_q4=1600, at=1000)
    assert step(one, measured=1005, feedforward=2000) == 2000 - 100 * 5
    one = controller(kd_q4=1600, at=1000)
    assert step(one, measured=1005, slope=7 * 64, feedforward=2000) == 2000 + 100 * (7 - 5)


def test_filtered_slope_reaches_a_steady_rise():
    one = SlopeFilter(4)
    one.reset(2500)
    for tick in range(1, 400):
        one.observe(2500 + 3 * tick)
    # an arithmetic shift rounds down: at most one sixty-fourth of a cdeg per tick low
    assert one.slope_q6 in (191, 192)
    assert one.rise_cdeg_per_min() == pytest.approx(3 * 600, abs=10)


def test_filter_softens_a_jump():
    one = SlopeFilter(4)
    one.reset(2500)
    one.observe(2600)
    assert one.slope_q6 == 100 * 64 >> 6  # an eighth into the first, of that the second
    slopes = [one.slope_q6]
    for _ in range(200):
        one.observe(2600)
        slopes.append(one.slope_q6)
    # continuous theory: the peak of x exp(-x) / 8 ticks, at x = 1
    assert max(slopes) == pytest.approx(6400 / 8 * 0.368, rel=0.1)
    assert sum(slopes) == pytest.approx(6400, abs=16)


@pytest.mark.parametrize("shift", [0, 1, 4, layout.MAX_FILTER_SHIFT])
def test_plan_is_as_late_as_the_board(shift):
    # a board exactly on its plan, whose slope changes: no push in either direction
    one = SlopeFilter(shift)
    one.reset(2500)
    measured, off = 2500, []
    for tick in range(3000):
        slope = (0, 6, -2)[tick // 1000]
        measured += slope
        one.observe(measured)
        off.append(one.late_q6(slope * 64) - one.slope_q6)
    assert max(abs(one) for one in off) <= 2


def test_slope_settles_as_late_as_its_shift_says():
    one = SlopeFilter(5)
    one.reset(0)
    for tick in range(1, 1000):
        one.observe(3 * tick)
    # a first-order filter of a ramp lags by its time: two of 16 ticks, less the tick of now
    assert 3 * 999 - (one._filtered_q6 >> 6) == pytest.approx(3 * (2 * 16 - 2), abs=3)


def test_feedforward_is_added():
    assert step(controller(), feedforward=12345) == 12345


def test_demand_is_clamped_to_nothing_and_to_the_cap():
    assert step(controller(kp_q8=2560, at=9000), 2500, 9000) == 0
    assert step(controller(kp_q8=25600, cap_q15=20000, at=0), 9000, 0) == 20000


def test_demand_stays_in_the_range_of_the_tick_and_below_the_cap():
    asking = dict(setpoint=9000, measured=0)
    assert step(controller(kp_q8=25600), **asking, most=12000) == 12000
    assert step(controller(kp_q8=25600, cap_q15=10000), **asking, most=12000) == 10000
    assert step(controller(kp_q8=2560, at=9000), 2500, 9000, least=7000) == 7000
    # the cap is the zone's own and comes last
    assert step(controller(cap_q15=5000), least=7000) == 5000


@pytest.mark.parametrize(
    ("board", "band"),
    [((9000, 2500), dict(most=8000)), ((2500, 9000), dict(least=8000))],
    ids=["at its upper end", "at its lower end"],
)
def test_nothing_winds_up_behind_the_range_of_the_tick(board, band):
    setpoint, measured = board
    one = controller(kp_q8=2560, ki_q14=5000, at=measured)
    for _ in range(1000):
        step(one, setpoint, measured, **band)
    assert one.integral_q14 == 0


def test_rest_asks_for_nothing_and_keeps_the_integral():
    one = controller(ki_q14=16384, at=4900)
    step(one, 5000, 4900)
    one.rest()
    assert one.demand_q15 == 0 and one.integral_q14 == 16384 * 100


def test_reset_starts_from_constants_without_a_kick():
    one = controller(kp_q8=100, ki_q14=1000, kd_q4=100000, shift=3, at=2500)
    for _ in range(50):
        step(one, 9000, 2600)
    one.reset(6000)
    assert (one.integral_q14, one.demand_q15) == (0, 0)
    assert step(one, 6000, 6000) == 0


# Anti-windup.


def test_nothing_winds_up_while_the_heater_is_at_its_cap():
    one = controller(kp_q8=25600, ki_q14=5000, cap_q15=10000, at=0)
    for _ in range(1000):
        step(one, 9000, 2500)
    assert one.integral_q14 == 0


def test_nothing_winds_up_while_the_guard_withholds():
    one = controller(kp_q8=256, ki_q14=5000, at=2500)
    for _ in range(1000):
        step(one, 3000, 2500, delivered=False)
    assert one.integral_q14 == 0
    step(one, 3000, 2500, delivered=True)
    assert one.integral_q14 == 5000 * (500 >> CATCH_UP_SHIFT)


@pytest.fixture
def behind():
    """A controller whose board has had too little for a while."""
    one = controller(kp_q8=256, ki_q14=100, at=2500)
    for _ in range(10):
        step(one, 3000, 2500, delivered=False)
    return one


def test_integral_grows_slowly_while_the_board_catches_up(behind):
    for _ in range(CATCH_UP_TICKS - 1):
        step(behind, 3000, 2500)
    slow = behind.integral_q14
    assert slow == (CATCH_UP_TICKS - 1) * 100 * (500 >> CATCH_UP_SHIFT)
    step(behind, 3000, 2500)
    assert behind.integral_q14 == slow + 100 * 500


def test_integral_is_as_quick_as_ever_once_the_board_has_caught_up(behind):
    step(behind, 2500, 2500)
    step(behind, 3000, 2500)
    assert behind.integral_q14 == 100 * 500


def test_integral_below_nothing_comes_back_quickly(behind):
    behind.integral_q14 = -1000000
    step(behind, 3000, 2500)
    assert behind.integral_q14 == -1000000 + 100 * 500


def test_nothing_winds_down_while_the_heater_is_off_anyway():
    one = controller(kp_q8=25600, ki_q14=5000, at=9000)
    for _ in range(1000):
        step(one, 2500, 9000)
    assert one.integral_q14 == 0


def test_saturated_integral_still_unwinds():
    one = controller(ki_q14=5000, cap_q15=1000, at=2500)
    one.integral_q14 = 30000 << 14
    step(one, 2500, 2600)
    assert one.integral_q14 == (30000 << 14) - 5000 * 100


def test_recovers_from_a_long_saturation_without_overshoot_debt():
    # cold board at the cap for ten minutes, then at the setpoint: no power is left over
    one = controller(kp_q8=2500, ki_q14=100, at=2500)
    for _ in range(6000):
        step(one, 9000, 2500)
    assert step(one, 9000, 9000) <= 100


# Ranges.


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
