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
    LIFT_AIR_DROP_CDEG,
    LIFT_BACK_CDEG,
    LIFT_DROP_CDEG,
    LIFT_TICKS,
)
from emberbed_fw.units import CHANNELS, NO_READING_CDEG

WATCHED = [True, True] + [False] * (CHANNELS - 2)
AIR_AWAY, AIR_ON = False, True
STEP_CDEG = 25  # a MAX31855K counts quarters of a degree; datasheet, table 4


class Fed:
    def __init__(self, cdeg):
        self.cdeg = [cdeg, cdeg] + [NO_READING_CDEG] * (CHANNELS - 2)


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


def quarters(cdeg):
    return round(cdeg / STEP_CDEG) * STEP_CDEG


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


# Acts.


def lifted(start_cdeg, air_cdeg, ticks, time_constant_ticks=15):
    """Return what a bead says that has left the board: it goes to the air's temperature."""
    readings = []
    cdeg = start_cdeg
    for _ in range(ticks):
        cdeg += (air_cdeg - cdeg) / time_constant_ticks
        readings.append(quarters(cdeg))
    return readings


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


def state_of(one):
    return {name: getattr(one, name) for name in one.STATE}


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


# Under hot air: a bead may fall fast, but not far below what its board had before.


def under_air(cdeg=15000, ticks=100):
    """Return a watch with this steady bead, and its readings, as hot air begins."""
    one = LiftWatch()
    readings = Fed(cdeg)
    for _ in range(ticks):
        one.step(readings, WATCHED, AIR_AWAY)
    return one, readings


def blow(one, readings, cdeg, ticks):
    """Let channel 0 read `cdeg` under hot air; return the ticks with suspicion."""
    suspected = 0
    readings.cdeg[0] = cdeg
    for _ in range(ticks):
        one.step(readings, WATCHED, AIR_ON)
        suspected += one.lifting != 0
    return suspected


@pytest.mark.parametrize("warm_cdeg", [15500, 18000, 25000])
def test_jet_that_passes_over_a_bead_is_quiet(warm_cdeg):
    one, readings = under_air()
    for _ in range(5):
        assert blow(one, readings, warm_cdeg, 60) == 0
        assert blow(one, readings, 15000, 60) == 0


def test_drop_under_hot_air_has_a_limit_of_its_own():
    one, readings = under_air()
    assert blow(one, readings, 15000 - LIFT_AIR_DROP_CDEG + 25, 200) == 0
    one, readings = under_air()
    assert blow(one, readings, 15000 - LIFT_AIR_DROP_CDEG - 300, 20) > 0


@pytest.mark.parametrize("warmed_ticks", [0, 600])
@pytest.mark.parametrize("air_cdeg", [3000, 6000, 10000])
def test_bead_that_lifts_under_hot_air_is_seen(warmed_ticks, air_cdeg):
    one, readings = under_air()
    blow(one, readings, 18000, warmed_ticks)
    seen = overdue = 0
    for tick, cdeg in enumerate(lifted(readings.cdeg[0], air_cdeg, 400), 1):
        blow(one, readings, cdeg, 1)
        seen = seen or (one.lifting and tick)
        overdue = overdue or (one.overdue and tick)
    assert 0 < seen <= 30 and overdue == seen + LIFT_TICKS - 1


def test_hot_air_that_has_warmed_the_bead_is_not_what_the_board_had():
    one, readings = under_air()
    memory = one._slow_q6[0]
    blow(one, readings, 20000, 600)
    assert one._slow_q6[0] == memory


@pytest.mark.parametrize("degc_per_s", [0.1, 0.3, 0.45])
def test_board_that_cools_under_hot_air_by_itself_is_quiet(degc_per_s):
    """An extractor is switched on with the hot air, or the stage is cooler than the soak."""
    one, readings = under_air()
    for tick in range(2000):
        assert blow(one, readings, quarters(15000 - degc_per_s * 10 * tick), 1) == 0
    for _ in range(300):
        one.step(readings, WATCHED, AIR_AWAY)
        assert one.lifting == 0, "nor afterwards"


# After the trip.


def given_up(board_cdeg=6400):
    """Return a watch whose bead has been off for ten seconds, and its readings."""
    one, readings = under_air(board_cdeg)
    readings.cdeg[0] = 2500
    while not one.overdue:
        one.step(readings, WATCHED, AIR_AWAY)
    return one, readings


def wait_for(one, readings, cdeg, ticks):
    for _ in range(ticks):
        readings.cdeg[0] = cdeg
        one.await_return(readings)
    return one.lifting


def test_bead_that_is_pressed_down_is_back():
    one, readings = given_up()
    assert wait_for(one, readings, 2500, 30) == 1
    assert wait_for(one, readings, 6100, 20) == 0


def test_waiting_changes_nothing_without_a_reading_or_of_a_bead_that_lies():
    one, readings = given_up()
    before = {name: list(held) for name, held in state_of(one).items() if name.startswith("_")}
    wait_for(one, readings, NO_READING_CDEG, 5)
    for name, held in before.items():
        assert getattr(one, name) == held
    wait_for(one, readings, 2500, 5)
    for name, held in before.items():
        assert getattr(one, name)[1] == held[1]


@pytest.mark.parametrize("hand_cdeg", [3000, 3300, 3700])
def test_bead_in_a_warm_hand_is_not_back(hand_cdeg):
    # a hand has 33 degC: a textbook figure, from memory
    one, readings = given_up()
    assert wait_for(one, readings, 2500, 20) == 1
    assert wait_for(one, readings, hand_cdeg, 50) == 1
    assert wait_for(one, readings, 6000, 20) == 0, "and then on its board"


def test_board_that_has_cooled_meanwhile_has_its_bead_back():
    """A degree a second for half a minute: no plan lets the fan cool faster than 1.5."""
    one, readings = given_up()
    assert wait_for(one, readings, 2500, 300) == 1
    assert wait_for(one, readings, 6400 - 3000, 20) == 0


# Each bound, one step to either side of it.


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize(("risen_cdeg", "back"), [(LIFT_BACK_CDEG, 0), (LIFT_BACK_CDEG + 1, 1)])
@pytest.mark.parametrize("level", [0, 1])
def test_a_bead_is_back_above_the_bound_and_at_its_level(channel, risen_cdeg, back, level):
    one = LiftWatch()
    one.lifting = 1 << channel
    fast_q6 = (5000 + risen_cdeg) << FILTER_Q
    one._slow_q6[channel] = 5000 << FILTER_Q
    one._level_q6[channel] = fast_q6 + level
    one._await_channel(channel, fast_q6)
    came = back and not level
    assert one.lifting == (0 if came else 1 << channel)
    assert one._slow_q6[channel] == (fast_q6 if came else 5000 << FILTER_Q)


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize(("fallen_cdeg", "off"), [(LIFT_DROP_CDEG, 0), (LIFT_DROP_CDEG + 1, 1)])
def test_a_bead_is_off_again_below_the_bound(channel, fallen_cdeg, off):
    one = LiftWatch()
    one._slow_q6[channel] = (8000 << FILTER_Q) + COOLING_Q6
    fast_q6 = (8000 - fallen_cdeg) << FILTER_Q
    one._await_channel(channel, fast_q6)
    assert one.lifting == off << channel
    assert one._slow_q6[channel] == (fast_q6 if off else 8000 << FILTER_Q)


@pytest.mark.parametrize(("ticks", "air", "bound_cdeg", "ticks_after"), [
    (0, AIR_AWAY, LIFT_DROP_CDEG, (0, 1)), (0, AIR_ON, LIFT_AIR_DROP_CDEG, (0, 1)),
    (5, AIR_AWAY, LIFT_BACK_CDEG, (4, 6)), (5, AIR_ON, LIFT_BACK_CDEG, (4, 6)),
])  # fmt: skip
@pytest.mark.parametrize("over", [0, 1])
def test_a_bead_is_suspected_above_its_bound(ticks, air, bound_cdeg, ticks_after, over):
    one = LiftWatch()
    cdeg_q6 = (8000 - bound_cdeg - over) << FILTER_Q
    one._slow_q6[0], one._fast_q6[0], one._lifted_ticks[0] = 8000 << FILTER_Q, cdeg_q6, ticks
    one._step_channel(0, cdeg_q6, air)
    assert one._lifted_ticks[0] == ticks_after[over]
    if ticks_after[over]:  # what the board had is remembered, and what it can have at least
        assert one._slow_q6[0] == 8000 << FILTER_Q
        assert one._level_q6[0] == (8000 - LIFT_DROP_CDEG) << FILTER_Q


def test_filters_that_meet_go_on_with_the_reading():
    one = LiftWatch()
    one._slow_q6[0], one._fast_q6[0] = 8000 << FILTER_Q, 8100 << FILTER_Q
    one._step_channel(0, 7700 << FILTER_Q, AIR_AWAY)
    assert one._fast_q6[0] == 8000 << FILTER_Q
    assert one._slow_q6[0] == (8000 << FILTER_Q) - (300 << FILTER_Q) // 32


def test_first_reading_is_what_both_filters_begin_with():
    one = LiftWatch()
    one.step(Fed(9000), WATCHED, AIR_AWAY)
    assert one._fast_q6[0] == one._slow_q6[0] == 9000 << FILTER_Q
