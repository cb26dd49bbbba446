"""A bead that lifts off the board: seen when it falls faster than a board can, and only then."""

import random

import pytest

from emberbed_fw.lift_watch import (
    AIR_COOLING_Q6,
    BACK_TICKS,
    COOLING_Q6,
    FILTER_Q,
    LiftWatch,
)
from emberbed_fw.safety_limits import (
    LIFT_BACK_CDEG,
    LIFT_DROP_CDEG,
    LIFT_TICKS,
)
from emberbed_fw.units import CHANNELS, NO_READING_CDEG
from tests.support.watched_lift import (
    AIR_AWAY,
    WATCHED,
    Fed,
    given_up,
    lifted,
    quarters,
    state_of,
)


def watch(readings_cdeg, channel=0, steady_cdeg=15000, air=AIR_AWAY):
    """Feed one channel; return (ticks with suspicion, ticks overdue)."""
    one = LiftWatch()
    readings = Fed(steady_cdeg)
    suspected = overdue = 0
    for cdeg in readings_cdeg:
        readings.cdeg[channel] = cdeg
        one.step(readings, WATCHED, air)
        suspected += one.lifting != 0
        overdue += one.overdue
        assert one.lifting in (0, 1 << channel)
    return suspected, overdue


# Quiet: what real boards do.


@pytest.mark.parametrize("degc_per_s", [1.5, 1.0, 0.2, -0.5, -3.0])
def test_board_that_cools_by_itself_is_quiet_for_minutes(degc_per_s):
    # a board in still air falls by less; with a fan, 1.5 degC/s is the fastest that a plan allows
    falling = [quarters(25000 - degc_per_s * 10 * tick) for tick in range(1500)]
    assert watch(falling) == (0, 0)


def test_noise_is_quiet_for_hours():
    """0.3 degC of noise, in the converter's steps: 10**5 ticks are 2.8 h."""
    chance = random.Random(7)
    noisy = [quarters(15000 + chance.gauss(0, 30)) for _ in range(100_000)]
    assert watch(noisy) == (0, 0)


def test_noise_on_a_board_that_falls_fast_is_quiet():
    chance = random.Random(8)
    noisy = [quarters(25000 - 15 * tick + chance.gauss(0, 30)) for tick in range(1500)]
    assert watch(noisy) == (0, 0)


def test_one_wild_reading_is_quiet():
    calm = [15000] * 50
    assert watch([*calm, 13000, *calm])[1] == 0
    assert watch([*calm, 13000, *calm])[0] < 10, "and soon forgotten"


def test_step_up_is_quiet_however_large():
    assert watch([2500] * 50 + [15000] * 200, steady_cdeg=2500) == (0, 0)


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("air_cdeg", [2500, 6000, 10000])
def test_lifted_bead_is_suspected_within_two_seconds_and_overdue_after_ten(channel, air_cdeg):
    one = LiftWatch()
    readings = Fed(15000)
    for _ in range(50):
        one.step(readings, WATCHED, AIR_AWAY)
    seen = overdue = 0
    for tick, cdeg in enumerate(lifted(15000, air_cdeg, 400), 1):
        readings.cdeg[channel] = cdeg
        one.step(readings, WATCHED, AIR_AWAY)
        seen = seen or (one.lifting and tick)
        overdue = overdue or (one.overdue and tick)
    assert 0 < seen <= 20
    assert overdue == seen + LIFT_TICKS - 1
    assert one.lifting == 1 << channel and one.overdue == 1, "for as long as it is off"


def test_suspicion_begins_above_the_drop_and_ends_near_the_old_temperature():
    one = LiftWatch()
    readings = Fed(15000)
    for _ in range(100):
        one.step(readings, WATCHED, AIR_AWAY)
    readings.cdeg[0] = 15000 - LIFT_DROP_CDEG - 300  # at once: the slow filter follows a little
    for _ in range(12):
        one.step(readings, WATCHED, AIR_AWAY)
    assert one.lifting == 1
    memory = one._slow_q6[0] >> 6
    assert 15000 - 200 < memory <= 15000
    readings.cdeg[0] = memory - LIFT_BACK_CDEG - 30
    for _ in range(30):
        one.step(readings, WATCHED, AIR_AWAY)
    assert one.lifting == 1, "not back yet"
    readings.cdeg[0] = memory - LIFT_BACK_CDEG + 30
    for _ in range(15):
        one.step(readings, WATCHED, AIR_AWAY)
    assert one.lifting == 0


def test_channel_that_is_not_on_the_board_is_not_watched():
    one = LiftWatch()
    readings = Fed(15000)
    for cdeg in (15000, 2500, 2500, 2500, 2500):
        readings.cdeg[0] = cdeg
        one.step(readings, [False, True] + [False] * 6, AIR_AWAY)
    assert one.lifting == 0


def test_missing_reading_neither_begins_nor_ends_a_suspicion():
    one = LiftWatch()
    readings = Fed(15000)
    for cdeg in [15000] * 20 + [13000] * 20:
        readings.cdeg[0] = cdeg
        one.step(readings, WATCHED, AIR_AWAY)
    assert one.lifting == 1
    readings.cdeg[0] = NO_READING_CDEG
    one.step(readings, WATCHED, AIR_AWAY)
    readings.cdeg[0] = 13000
    one.step(readings, WATCHED, AIR_AWAY)
    assert one.lifting == 1


def test_forget_begins_anew_where_the_bead_is():
    one = LiftWatch()
    readings = Fed(15000)
    for cdeg in [15000] * 20 + [8000] * 20:
        readings.cdeg[0] = cdeg
        one.step(readings, WATCHED, AIR_AWAY)
    one.forget()
    for _ in range(50):
        one.step(readings, WATCHED, AIR_AWAY)
    assert (one.lifting, one.overdue) == (0, 0)


def test_forget_leaves_nothing_of_the_run_before():
    one, _readings = given_up()
    one.forget()
    none, zeros = [NO_READING_CDEG] * CHANNELS, [0] * CHANNELS
    begun = {"lifting": 0, "overdue": 0, "_fast_q6": zeros, "_slow_q6": none, "_level_q6": zeros,
             "_lifted_ticks": zeros}  # fmt: skip
    assert state_of(one) == state_of(LiftWatch()) == begun


def test_how_fast_boards_cool_and_how_long_a_bead_stays_down():
    degc_per_s = 10 / (100 << FILTER_Q)
    assert (COOLING_Q6 * degc_per_s, AIR_COOLING_Q6 * degc_per_s) == (1.5, 0.5)
    assert BACK_TICKS == 10  # a second


def test_a_bead_that_is_down_again_is_not_overdue():
    one, readings = given_up()
    readings.cdeg[0] = 6400
    for _ in range(50):
        one.step(readings, WATCHED, AIR_AWAY)
    assert (one.lifting, one.overdue) == (0, 0)


def test_a_reading_that_is_missing_for_a_moment_is_no_fall():
    assert watch([15000] * 20 + [NO_READING_CDEG] * 3 + [15000] * 20) == (0, 0)


def test_every_number_is_small():
    one = LiftWatch()
    readings = Fed(35000)
    for tick in range(200):
        readings.cdeg[0] = 35000 if tick % 40 < 20 else -1000
        one.step(readings, WATCHED, AIR_AWAY)
        assert max(abs(n) for n in one._fast_q6 + one._slow_q6) < 2**30


@pytest.mark.parametrize("down_ticks", [5, 10, 15, 20, 40, 100])
def test_bead_that_slips_off_again_is_seen_again(down_ticks):
    """Pressed down for a moment on a board that has warmed by 7 degC meanwhile, and off again."""
    one = LiftWatch()
    readings = Fed(4400)
    for cdeg in [4400] * 50 + [1500] * 90 + [5100] * down_ticks:
        readings.cdeg[0] = cdeg
        one.step(readings, WATCHED, AIR_AWAY)
    seen = []
    for _ in range(60):
        readings.cdeg[0] = 3700  # 14 degC below the board
        one.step(readings, WATCHED, AIR_AWAY)
        seen.append(one.lifting)
    assert any(seen[:20]) and seen[-1] == 1
