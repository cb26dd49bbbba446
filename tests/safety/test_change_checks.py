"""Proofs of the checks around a person's changes: warmer, longer, standing still."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import (
    ANSWER_TICKS,
    HELD_ASK_TICKS,
    HELD_FREELY_CDEG,
    MOST_EXTRA_TICKS,
    MOST_OFFSET_CDEG,
)
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import TICKS_PER_MIN
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import assert_never_heats_again, assert_tripped, until_tripped
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, hold, ramp

# C19: warmer.


def holding(ticks=600, **header):
    bench = Bench(build_plan([hold(8000, ticks), ramp(8000, 9000, 100), cool()], **header))
    bench.board_c = [80.0, 80.0]
    bench.to_run().tick(5)
    return bench


def asked(bench, touch, amount):
    return ms.REFUSAL_NAMES[bench.touch(touch, amount)]


@pytest.mark.check("C19", proves="acts")
@pytest.mark.parametrize("offset_cdeg", [MOST_OFFSET_CDEG + 1, -MOST_OFFSET_CDEG - 1, 32767])
def test_shift_beyond_five_degrees_is_refused(offset_cdeg):
    bench = holding(most_setpoint_cdeg=20000)
    assert asked(bench, ms.OFFSET, offset_cdeg) == "BAD_RANGE"
    bench.tick(50)
    assert bench.record.setpoint_cdeg == 8000


@pytest.mark.check("C19", proves="acts")
def test_shift_beyond_what_was_shown_at_the_press_is_refused():
    bench = holding(most_setpoint_cdeg=9200)
    assert asked(bench, ms.OFFSET, 201) == "ABOVE_LIMIT"
    bench.tick(50)
    assert bench.record.setpoint_cdeg == 8000


@pytest.mark.check("C19", proves="in_time")
def test_refused_shift_has_moved_nothing_in_its_own_tick():
    bench = holding(most_setpoint_cdeg=9200)
    asked(bench, ms.OFFSET, 500)
    assert ticks_allowed("C19") == 1
    assert (bench.record.setpoint_cdeg, bench.record.offset_cdeg) == (8000, 0)


@pytest.mark.check("C19", proves="quiet")
@pytest.mark.parametrize(
    ("ceiling_cdeg", "offset_cdeg"),
    [(9200, 200), (20000, MOST_OFFSET_CDEG), (20000, -MOST_OFFSET_CDEG)],
)
def test_shift_one_step_inside_is_done(ceiling_cdeg, offset_cdeg):
    bench = holding(most_setpoint_cdeg=ceiling_cdeg)
    assert asked(bench, ms.OFFSET, offset_cdeg) == "DONE"
    bench.board_c = [80.0 + offset_cdeg / 100] * 2
    bench.tick(200)
    assert bench.record.setpoint_cdeg == 8000 + offset_cdeg


@pytest.mark.check("C19", proves="stays")
def test_ceiling_stays_for_any_number_of_shifts_and_in_every_stage():
    bench = holding(ticks=60, most_setpoint_cdeg=9200)
    for _ in range(10):
        assert asked(bench, ms.OFFSET, 200) == "DONE"
        assert asked(bench, ms.OFFSET, 300) == "ABOVE_LIMIT"
    bench.board_c = [82.0, 82.0]
    bench.until_stage(1)
    bench.board_c = [92.0, 92.0]
    for _ in range(90):
        assert asked(bench, ms.OFFSET, 300) == "ABOVE_LIMIT"
        assert bench.record.setpoint_cdeg <= 9200


# C20: longer.


@pytest.mark.check("C20", proves="acts")
def test_more_than_a_minute_at_once_is_refused():
    bench = holding()
    assert asked(bench, ms.EXTEND, TICKS_PER_MIN + 1) == "BAD_RANGE"
    assert bench.machine.sequencer.extra_ticks == 0


@pytest.mark.check("C20", proves="acts")
def test_more_than_ten_minutes_in_all_are_refused():
    bench = holding()
    for _ in range(MOST_EXTRA_TICKS // TICKS_PER_MIN):
        assert asked(bench, ms.EXTEND, TICKS_PER_MIN) == "DONE"
    assert asked(bench, ms.EXTEND, 1) == "ABOVE_LIMIT"


@pytest.mark.check("C20", proves="in_time")
def test_refused_minute_is_not_given_in_its_own_tick():
    bench = holding()
    for _ in range(MOST_EXTRA_TICKS // TICKS_PER_MIN):
        bench.touch(ms.EXTEND, TICKS_PER_MIN)
    left = bench.machine.sequencer.left_ticks()
    asked(bench, ms.EXTEND, 1)
    assert ticks_allowed("C20") == 1
    assert bench.machine.sequencer.left_ticks() == left - 1


@pytest.mark.check("C20", proves="quiet")
def test_last_tick_of_the_ten_minutes_is_given():
    bench = holding()
    for ticks in [TICKS_PER_MIN] * (MOST_EXTRA_TICKS // TICKS_PER_MIN - 1) + [TICKS_PER_MIN - 1, 1]:
        assert asked(bench, ms.EXTEND, ticks) == "DONE"
    assert bench.machine.sequencer.extra_ticks == MOST_EXTRA_TICKS


@pytest.mark.check("C20", proves="stays")
def test_stage_ends_after_its_ten_minutes_whatever_is_asked():
    bench = holding(ticks=100)
    for _ in range(100 + MOST_EXTRA_TICKS):
        if bench.record.stage == 1:
            break
        bench.touch(ms.EXTEND, TICKS_PER_MIN)
    assert bench.record.stage == 1


# C21: standing still above 110 degC.


def standing(at_c, plateau=True):
    """Return a bench that stands still in a ramp, its last plateau at 90 degC."""
    first = hold(9000, 20) if plateau else ramp(2500, 9000, 20, hold_back_cdeg=20000)
    stages = [first, ramp(9000, 15000, 600), hold(15000, 100), cool()]
    bench = Bench(build_plan(stages))
    bench.board_c = [90.0, 90.0]
    bench.to_run()
    bench.until_stage(1)
    bench.board_c = [at_c, at_c]
    bench.tick(2)
    assert bench.touch(ms.HOLD_HERE) == ms.DONE
    return bench


ABOVE, BELOW = HELD_FREELY_CDEG / 100 + 0.5, HELD_FREELY_CDEG / 100 - 0.5


@pytest.mark.check("C21", proves="acts")
def test_standing_still_above_110_is_asked_again():
    bench = standing(ABOVE)
    bench.tick(HELD_ASK_TICKS)
    assert bench.record.prompt == LONGER_PROMPT


@pytest.mark.check("C21", proves="acts")
def test_unanswered_it_goes_to_the_plateau_and_then_cools():
    bench = standing(ABOVE)
    bench.tick(HELD_ASK_TICKS + ANSWER_TICKS)
    assert bench.record.setpoint_cdeg == 9000
    bench.tick(ANSWER_TICKS)
    assert_tripped(bench, trip_codes.STAGE_OVERDUE)


@pytest.mark.check("C21", proves="in_time")
@pytest.mark.parametrize("plateau", [True, False])
def test_standing_still_ends_in_time(plateau):
    assert until_tripped(standing(ABOVE, plateau), 4000) <= ticks_allowed("C21")


@pytest.mark.check("C21", proves="quiet")
def test_standing_still_just_below_110_is_quiet():
    bench = standing(BELOW)
    bench.tick(HELD_ASK_TICKS * 3)
    assert bench.state == rs.RUN and bench.record.waits_for == rs.WAITS_HELD


@pytest.mark.check("C21", proves="quiet")
def test_person_who_answers_may_stand_still_for_long():
    bench = standing(ABOVE)
    for _ in range(4):
        bench.tick(HELD_ASK_TICKS + ANSWER_TICKS - 10)
        bench.acknowledge(LONGER_PROMPT)
        bench.tick()
    assert bench.state == rs.RUN and bench.trip == trip_codes.NO_TRIP


@pytest.mark.check("C21", proves="stays")
def test_standing_still_that_was_ended_stays_ended():
    bench = standing(ABOVE)
    bench.tick(HELD_ASK_TICKS + 2 * ANSWER_TICKS)
    bench.acknowledge(LONGER_PROMPT)
    bench.ask_touch(ms.GO_ON)
    bench.ask_touch(ms.HOLD_HERE)
    assert_never_heats_again(bench, trip_codes.STAGE_OVERDUE)
