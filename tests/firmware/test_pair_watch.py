"""Two beads side by side: how far apart they may be, and what of it is their habit."""

import pytest

from emberbed_fw.pair_watch import LEARN_TICKS, PairWatch
from emberbed_fw.plan import ROLE_PAIR, Plan
from emberbed_fw.safety_limits import PAIR_APART_CDEG, PAIR_OFFSET_CDEG, PAIR_PERCENT
from emberbed_fw.units import NO_READING_CDEG
from tests.support.judged import Fed
from tests.support.plans import build_plan, cool, ramp

STAGES = [ramp(2500, 9000, 650), cool()]
PLAN = Plan(build_plan(STAGES, role1=ROLE_PAIR, partner1=0))


def stepped(one, other, watch=None, ticks=1, holds=False, air=False, plan=PLAN):
    watch = watch or PairWatch()
    for _ in range(ticks):
        watch.step(Fed(one, other), plan, holds, air)
    return watch


@pytest.mark.check("C31", proves="quiet")
@pytest.mark.parametrize("warm_cdeg", [-500, 0, 2500, 10000, 22000])
@pytest.mark.parametrize("swapped", [False, True])
def test_they_may_differ_by_a_few_degrees_and_a_share_of_the_warmer_one(warm_cdeg, swapped):
    allowed = PAIR_APART_CDEG + int(max(warm_cdeg, 0) * PAIR_PERCENT / 100)
    for apart in (0, 1):
        pair = (warm_cdeg, warm_cdeg - allowed - apart)
        assert stepped(*(reversed(pair) if swapped else pair)).apart == apart


def test_ticks_apart_are_counted_from_nothing_each_time():
    watch = stepped(9000, 6000, ticks=7)
    assert watch.apart == 7
    assert stepped(9000, 9000, watch).apart == 0
    assert stepped(9000, 6000, watch, ticks=2).apart == 2


def test_only_a_pair_is_compared():
    alone = Plan(build_plan(STAGES))
    assert stepped(9000, 2000, plan=alone).apart == 0


@pytest.mark.parametrize("pair", [(NO_READING_CDEG, 2500), (9000, NO_READING_CDEG)])
def test_a_bead_without_a_reading_is_judged_elsewhere(pair):
    assert stepped(*pair).apart == 0


@pytest.mark.parametrize("channel", [0, 1])
def test_in_the_jet_they_may_differ(channel):
    plan = Plan(build_plan(STAGES, role1=ROLE_PAIR, partner1=0, in_jet_channels=1 << channel))
    assert stepped(9000, 2000, air=True, plan=plan).apart == 0
    assert stepped(9000, 2000, air=False, plan=plan).apart == 1


def test_out_of_the_jet_they_may_not_differ_under_air_either():
    assert stepped(9000, 2000, air=True).apart == 1


# What they differ by in the first hold is their habit.

HABIT = 400


def test_habit_is_learned_in_the_first_hold_and_kept():
    watch = stepped(9000, 9000 - HABIT, ticks=LEARN_TICKS, holds=True)
    assert max(watch._held_ticks) == LEARN_TICKS == 300  # 30 s
    # a filter of 6.4 s for 30 s: 1 - exp(-30 / 6.4) of it
    allowed = PAIR_APART_CDEG + 9000 * PAIR_PERCENT // 100
    assert stepped(9000, 9000 - allowed - HABIT + 10, watch).apart == 0
    assert stepped(9000, 9000 - allowed - HABIT - 1, watch).apart == 1
    # the other way round it takes away
    assert stepped(9000 - allowed + HABIT + 10, 9000, watch).apart == 0
    assert stepped(9000 - allowed + HABIT - 10, 9000, watch).apart > 0
    stepped(9000, 9000, watch, ticks=3 * LEARN_TICKS, holds=True)
    assert stepped(9000, 9000 - allowed - HABIT + 10, watch).apart == 0, "the first hold tells"


def test_habit_is_not_learned_outside_a_hold_and_forgotten_at_arming():
    allowed = PAIR_APART_CDEG + 9000 * PAIR_PERCENT // 100
    watch = stepped(9000, 9000 - HABIT, ticks=LEARN_TICKS, holds=False)
    assert stepped(9000, 9000 - allowed - 1, watch).apart == 1
    watch = stepped(9000, 9000 - HABIT, ticks=LEARN_TICKS, holds=True)
    watch.forget()
    assert watch.apart == 0 and not any(watch._offset_q6) and not any(watch._held_ticks)
    assert stepped(9000, 9000 - allowed - 1, watch).apart == 1


@pytest.mark.parametrize("sign", [1, -1])
def test_only_so_much_of_a_difference_can_be_a_habit(sign):
    watch = stepped(9000, 9000 - sign * 1000, ticks=LEARN_TICKS, holds=True)
    allowed = PAIR_APART_CDEG + (9000 + PAIR_OFFSET_CDEG + PAIR_APART_CDEG) * PAIR_PERCENT // 100
    far = 9000 - sign * (allowed + PAIR_OFFSET_CDEG + 100)
    assert stepped(9000, far, watch).apart == 1


def test_first_tick_of_a_hold_hides_nothing():
    # a bead that comes off just as the hold begins is seen before it can become a habit
    assert stepped(9000, 6000, holds=True, ticks=60).apart == 60


def test_a_bead_that_is_apart_teaches_no_habit():
    allowed = PAIR_APART_CDEG + 9000 * PAIR_PERCENT // 100
    watch = stepped(9000, 9000 - allowed - 1, ticks=LEARN_TICKS, holds=True)
    assert watch.apart == LEARN_TICKS and not any(watch._offset_q6)
