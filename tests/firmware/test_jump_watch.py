"""Readings that move as no bead can: what counts, what does not, and for how long."""

import pytest

from emberbed_fw.jump_watch import FORGET_TICKS, SETTLE_TICKS, JumpWatch
from emberbed_fw.safety_limits import JUMP_CDEG, JUMP_TICKS, RISE_CDEG, STILL_RISES_CDEG
from emberbed_fw.units import CHANNELS, NO_READING_CDEG
from tests.support.judged import Fed

BOTH = [True, True] + [False] * (CHANNELS - 2)
FIRST = [True] + [False] * (CHANNELS - 1)


def fed(watch, course, watched=BOTH, excused=0):
    """Step through a course of the first channel; return what was disturbed."""
    seen = []
    for cdeg in course:
        watch.step(Fed(cdeg, 8000), watched, excused)
        seen.append(watch.disturbed)
    return seen


def ramp_course(cdeg_per_tick, ticks, start=8000):
    return [start + round(cdeg_per_tick * tick) for tick in range(ticks)]


@pytest.mark.parametrize("most", [RISE_CDEG, -JUMP_CDEG])
def test_a_step_within_one_tick(most):
    assert fed(JumpWatch(), [8000, 8000 + most]) == [0, 0]
    assert fed(JumpWatch(), [8000, 8000 + most + (1 if most > 0 else -1)]) == [0, 1]


def test_ahead_of_its_filter_only_what_still_rises_counts():
    for rises, disturbed in ((STILL_RISES_CDEG, 0), (STILL_RISES_CDEG + 1, 1)):
        assert fed(JumpWatch(), [8000, 9500, 9500 + rises]) == [0, 1, disturbed]


def test_first_reading_is_no_jump():
    assert fed(JumpWatch(), [20000]) == [0]


@pytest.mark.check("C30", proves="quiet")
@pytest.mark.parametrize("per_tick", [0, 10, 20, 40])
def test_what_boards_do_is_fine(per_tick):
    # 4 K/s is the steepest ramp of J-STD-020's reflow profiles (3 K/s) and a third more
    assert not any(fed(JumpWatch(), ramp_course(per_tick, 400)))


@pytest.mark.parametrize("per_tick", [-40, -100])
def test_falling_is_seen_elsewhere(per_tick):
    assert not any(fed(JumpWatch(), ramp_course(per_tick, 100, start=20000)))


@pytest.mark.parametrize("per_tick", [65, 100])
def test_a_rise_that_no_board_can_is_disturbed_for_as_long_as_it_lasts(per_tick):
    watch = JumpWatch()
    rise = ramp_course(per_tick, 80)
    seen = fed(watch, rise)
    # a first-order filter of 1.6 s trails a ramp by 1.6 s of it once it has settled
    assert seen[:5] == [0] * 5 and all(seen[60:])
    assert watch.overdue()
    seen = fed(watch, [rise[-1]] * 60)
    assert not any(seen) and not watch.overdue(), "a step that stays is no burst"


def test_every_watched_channel_counts_and_no_other():
    watch = JumpWatch()
    for tick in range(4):
        watch.step(Fed(8000, 8000 + tick % 2 * 5000), FIRST, 0)
        assert not watch.disturbed
    for tick in range(2):
        watch.step(Fed(8000, 8000 + tick % 2 * 5000), BOTH, 0)
    assert watch.disturbed


def test_a_channel_that_is_watched_again_begins_anew():
    watch = JumpWatch()
    fed(watch, [8000, 8000])
    fed(watch, [8000], watched=[False] * CHANNELS)
    assert fed(watch, [14000, 14000]) == [0, 0]


def test_without_a_reading_nothing_jumps_and_after_it_the_last_one_counts():
    watch = JumpWatch()
    assert fed(watch, [8000, NO_READING_CDEG, 8010]) == [0, 0, 0]
    assert fed(watch, [NO_READING_CDEG, 14000]) == [0, 1]


def test_a_second_of_it_within_a_few_is_overdue():
    watch = JumpWatch()
    course = [8000 + 5000 * (tick % 2) for tick in range(JUMP_TICKS)]
    assert fed(watch, course) == [0] + [1] * (JUMP_TICKS - 1)
    assert not watch.overdue()
    fed(watch, [8000 + 5000 * (JUMP_TICKS % 2)])
    assert watch.overdue() and watch.score == JUMP_TICKS * FORGET_TICKS
    fed(watch, [8000 + 5000 * ((JUMP_TICKS + 1) % 2)])
    assert watch.score == JUMP_TICKS * FORGET_TICKS, "no more than a second can be owed"


def test_good_ticks_make_up_for_disturbed_ones():
    assert (FORGET_TICKS, SETTLE_TICKS) == (5, 100)
    watch = JumpWatch()
    fed(watch, [8000, 14000])
    assert watch.score == FORGET_TICKS
    fed(watch, [14000] * 80)
    assert watch.score == 0
    fed(watch, [14000])
    assert watch.score == 0
    # a spike a second for a minute: one disturbed tick on its way there, one on its way back
    for _ in range(60):
        fed(watch, [20000] + [14000] * 19)
    assert not watch.overdue()


@pytest.mark.parametrize("ticks", [SETTLE_TICKS - 1, SETTLE_TICKS])
def test_hands_and_air_excuse_for_a_while(ticks):
    watch = JumpWatch()
    fed(watch, [8000])
    assert fed(watch, [14000], excused=1) == [0]
    seen = fed(watch, [14000 + 5000 * (tick % 2) for tick in range(1, ticks + 1)])
    assert seen == [0] * (SETTLE_TICKS - 1) + [1] * (ticks - SETTLE_TICKS + 1)


def test_forgetting_begins_anew():
    watch = JumpWatch()
    fed(watch, [8000], excused=1)
    fed(watch, [8000 + 5000 * (tick % 2) for tick in range(SETTLE_TICKS + 20)])
    assert watch.disturbed and watch.overdue()
    watch.forget()
    assert (watch.disturbed, watch.score, watch.overdue()) == (0, 0, False)
    nothing = ([NO_READING_CDEG] * CHANNELS, [0] * CHANNELS)
    assert (watch._last_cdeg, watch._slow_q6) == nothing
    assert fed(watch, [20000, 8000]) == [0, 1]
