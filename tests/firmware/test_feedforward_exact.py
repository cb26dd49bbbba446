"""The set itself, without a link: its bounds to the number, and what a second arming finds."""

import struct
from zlib import crc32

import pytest

from emberbed_fw import messages as ms
from emberbed_fw.feedforward import Feedforward
from emberbed_fw.plan import Plan
from emberbed_fw.units import NONE
from tests.support.plans import build_plan, cool, hold, patch_plan, ramp, wait
from tests.support.power_sets import end, part

STEEPEST = 17895  # in 30000 ticks: (2**30 - 1) // 2 // 30000, as plan_check has it
LONG = 30000


def opened(*stages, own=()):
    """Return the bytes of a plan with its cooling, and what works on it; `own`: its powers."""
    block = build_plan([*stages, cool()])
    for knot, power_q15 in enumerate(own):
        block = patch_plan(block, "knot", knot, feedforward0_q15=power_q15)
    plan = Plan(block)
    one = Feedforward(plan)
    one.make_room()
    return block, plan, one


def give(block, one, powers, stage=0):
    """Write and check a set while this stage runs; return what `check` says."""
    for at in range(0, len(powers), 24):
        assert one.write(part(at, powers[at : at + 24]), 0) == ms.DONE
    return one.check(end(block, powers), 0, stage)


def swap(block, one, powers, stage=0):
    assert give(block, one, powers, stage) == ms.DONE
    return one.take(end(block, powers), 0, stage)


RUN = (hold(6000, 10), ramp(6000, 7000, 20))


def test_set_is_used_once_it_is_taken():
    block, plan, one = opened(*RUN)
    own = plan.feedforward_q15[0]
    powers = [0, 0, 1, 2]
    assert give(block, one, powers) == ms.DONE
    assert plan.feedforward_q15[0] is own and not one.step()
    assert one.take(end(block, powers), 0, 0) == ms.DONE
    assert list(plan.feedforward_q15[0]) == powers
    crc = crc32(block[-4:] + struct.pack("<4H", *powers))
    assert (one.crc_low, one.crc_high) == (crc & 0xFFFF, crc >> 16)


def test_arming_forgets_all_of_it():
    block, plan, one = opened(*RUN, own=[5, 6, 7, 8])
    swap(block, one, [5, 6, 1, 2])
    used = plan.feedforward_q15[0]
    one.reset()
    assert list(plan.feedforward_q15[0]) == [5, 6, 7, 8]
    assert (one.crc_low, one.crc_high) == (0, 0)
    used[3] ^= 1  # nobody lives by it any more
    assert not any(one.step() for _tick in range(50))
    assert one.write(part(1, [6]), 0) == ms.BAD_LENGTH, "no part of before counts"


def test_checked_set_is_forgotten_by_an_arming_and_by_a_check_that_fails():
    powers = [0, 0, 1, 2]
    block, _plan, one = opened(*RUN)
    assert give(block, one, powers) == ms.DONE
    one.reset()
    assert one.take(end(block, powers), 0, 0) == ms.WRONG_STATE
    assert give(block, one, powers) == ms.DONE
    assert one.check(end(block, powers, crc=1), 0, 0) == ms.BAD_CRC
    assert one.take(end(block, powers), 0, 0) == ms.WRONG_STATE
    assert give(block, one, powers, 1) == ms.WRONG_STATE
    assert one.take(end(block, powers), 0, 1) == ms.WRONG_STATE


def test_whole_set_takes_no_further_part():
    block, _plan, one = opened(*RUN)
    assert one.write(part(0, [0, 0, 1, 2]), 0) == ms.DONE
    assert one.write(part(4, [0]), 0) == ms.BAD_LENGTH
    assert one.check(end(block, [0, 0, 1, 2]), 0, 0) == ms.DONE


def test_taken_set_is_behind():
    block, _plan, one = opened(*RUN)
    swap(block, one, [0, 0, 1, 2])
    for number in (1, 4):
        assert one.write(part(number, [0]), 0) == ms.BAD_LENGTH
    assert one.write(part(0, [0, 0, 3, 4]), 0) == ms.DONE


def test_part_needs_room():
    one = Feedforward(Plan(build_plan([*RUN, cool()])))
    assert one.write(part(0, [0, 0, 1, 2]), 0) == ms.BAD_LENGTH


@pytest.mark.parametrize("stages", [(), (wait(6000),), (wait(6000), wait(6000))])
def test_smallest_plans(stages):
    """Without a knot there is nothing to replace; a single knot is a set."""
    block, _plan, one = opened(*stages)
    powers = [0] * len(stages)
    said = give(block, one, powers, NONE - 1 if not stages else 0)
    assert said == (ms.DONE if stages else ms.BAD_LENGTH)


@pytest.mark.parametrize(
    ("own", "powers", "said"),
    [
        ([0, STEEPEST], [0, STEEPEST, 0, 0, 0], ms.DONE),
        ([0, STEEPEST + 1], [0, STEEPEST + 1, 0, 0, 0], ms.BAD_RANGE),
        ([], [0, 0, 0, STEEPEST, 0], ms.DONE),
        ([], [0, 0, 0, STEEPEST + 1, 1], ms.BAD_RANGE),
        ([], [0, 0, STEEPEST + 1, 0, 0], ms.BAD_RANGE),
        ([], [0, 0, 100, STEEPEST + 100, 32768], ms.DONE),
        ([], [0, 0, 30000, 30000, 30000], ms.DONE),
        # from stage to stage there is no line; over a single tick full power may come and go
        ([], [0, 0, 20000, 20000, 0], ms.DONE),
    ],
)
def test_no_line_between_two_knots_leaves_the_small_ints(own, powers, said):
    """Two knots far apart, two more far apart, and one a tick after the last."""
    knots = [(0, 6000), (LONG, 6000), (LONG + 1, 6000)]
    stages = [hold(6000, LONG), dict(hold(6000, LONG), knots=knots)]
    block, _plan, one = opened(*stages, own=own)
    assert give(block, one, powers) == said
