"""The controller: hand-computed steps, anti-windup."""

import pytest

from emberbed_fw import plan as layout
from emberbed_fw.pid import (
    CATCH_UP_SHIFT,
    CATCH_UP_TICKS,
    OWED_LIMIT_Q15,
    SlopeFilter,
)
from emberbed_fw.units import FULL_POWER_Q15
from tests.support.controllers import controller, step

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


@pytest.mark.parametrize("mean_q15", [0, 500, 2000])
def test_noise_about_no_power_heats_by_its_mean_alone(mean_q15):
    """Half of it is cut off at no power: the other half is taken back, or a coasting board would
    be warmed by its reading's noise."""
    one = controller(kp_q8=256)
    total_q15 = 0
    for tick in range(400):
        noise_cdeg = 3000 if tick // 5 % 2 else -3000  # half a second up, half a second down
        total_q15 += step(one, measured=noise_cdeg, feedforward=mean_q15)
    # a little of what it owed is forgotten
    assert total_q15 / 400 == pytest.approx(mean_q15, abs=200)


def test_what_is_owed_is_no_more_than_two_ticks_of_full_power():
    one = controller(kp_q8=256)
    for _tick in range(100):
        assert step(one, measured=9000) == 0
    given_q15 = [step(one, feedforward=FULL_POWER_Q15) for _tick in range(4)]
    missing_q15 = sum(FULL_POWER_Q15 - one for one in given_q15)
    assert OWED_LIMIT_Q15 * 0.95 < missing_q15 <= OWED_LIMIT_Q15
    assert given_q15[-1] == FULL_POWER_Q15
