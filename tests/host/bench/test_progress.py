"""The host's view of a run against the firmware that runs it: what it keeps to itself, mirrored."""

import pytest

from emberbed.bench.progress import Progress
from emberbed.profiles.plan_bytes import decode_plan
from emberbed.records import decode_record
from emberbed_fw import messages, signals
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_MIN
from tests.host.bench import moments
from tests.host.bench.moments import followed
from tests.support.plans import build_plan, cool, hot_air, ramp


@pytest.mark.parametrize("moment", moments.MOMENTS)
def test_it_knows_what_the_device_knows(moment):
    bench = moment()
    progress, machine = followed(bench), bench.machine
    sequencer = machine.sequencer
    if bench.state in rs.STAGED_STATES:
        assert progress.held == bool(sequencer.held)
        assert progress.air_on() == machine.air_is_on()
        assert progress.kind() == sequencer.kind()
        assert progress.next_mark() == machine.touches.next_mark(machine.plan, sequencer.stage)
        # the device has left the stage before the plateau counts; a plateau has no reading there
        assert progress.has_plateau() == (sequencer._plateau_cdeg > -1000)
    if bench.state == rs.COOL:
        assert progress.left_stage == sequencer.left_stage
        assert progress.waits_for_fan() == (moment is moments.cooling_waits_for_fan)


def test_extra_time_is_counted_from_what_was_asked():
    bench = moments.first_hold()
    for ticks in (600, 150):
        assert bench.touch(messages.EXTEND, ticks) == messages.DONE
    progress = followed(bench)
    assert progress.extra_ticks == bench.machine.sequencer.extra_ticks == 750
    assert progress.planned_ticks() == moments.HOLD_TICKS + 750
    bench.board_c = [60.0, 58.0]
    bench.until(rs.WAIT)
    assert followed(bench).extra_ticks == 0


def test_a_minute_from_the_button_has_no_amount_in_the_record():
    bench = moments.first_hold()
    for _tap in range(3):
        bench.button = True
        bench.tick(2)
        bench.button = False
        bench.tick(3)
    bench.tick(8)
    assert bench.machine.sequencer.extra_ticks == TICKS_PER_MIN
    assert followed(bench).extra_ticks == TICKS_PER_MIN


def test_marks_are_followed_through_all_expected_ones():
    bench = moments.air_on()
    expected = [messages.MARK_SOLDER_MOVES, messages.MARK_CHIP_OFF, messages.MARK_AIR_AWAY]
    for mark in expected:
        assert followed(bench).next_mark() == mark
        assert bench.touch(messages.MARK, messages.MARK_NEXT) == messages.DONE
    bench.tick(2)
    marks = [mark for _tick, mark in followed(bench).marks]
    assert marks == [messages.MARK_FLUX_ON, messages.MARK_NOZZLE_ON, *expected]
    assert bench.state == rs.COOL


def test_a_mark_out_of_its_turn_takes_those_before_it_along():
    bench = moments.air_on()
    bench.touch(messages.MARK, messages.MARK_CHIP_OFF)
    assert followed(bench).next_mark() == messages.MARK_AIR_AWAY
    bench.touch(messages.MARK, messages.MARK_NOTE)
    assert followed(bench).next_mark() == messages.MARK_AIR_AWAY


def test_a_person_is_called_half_a_minute_ahead():
    bench = moments.first_hold()
    near = []
    while bench.state != rs.WAIT:
        near.append(followed(bench).ticks_to_person())
        bench.tick(20)
    assert near[0] is None
    assert 0 < [left for left in near if left][0] <= signals.AHEAD_TICKS
    assert near[-1] and near[-1] < 40
    assert followed(bench).ticks_to_person() is None


def test_an_offset_fits_as_long_as_the_device_says_so():
    bench = moments.second_ramp()
    progress = followed(bench)
    most = progress.plan.header["most_setpoint_cdeg"]
    for offset in (-500, 0, most - 8000, most - 8000 + 1):
        fits = bench.touch(messages.OFFSET, offset) == messages.DONE if abs(offset) <= 500 else None
        if fits is not None:
            assert progress.offset_fits(offset) == fits, offset


def test_where_it_was_left_is_what_a_run_that_goes_on_begins_with():
    bench = moments.first_hold()
    bench.tick(100)
    before = bench.machine.sequencer.stage_tick
    bench.raw[0] = 0x00011901  # OPEN_WORD of tests/support/bench.py
    bench.until(rs.COOL, 10)
    progress = followed(bench)
    assert (progress.left_stage, progress.left_ticks) == (1, pytest.approx(before, abs=4))
    following = Progress(progress.plan, progress.left_stage, progress.left_ticks)
    assert (following.left_stage, following.left_ticks) == (1, progress.left_ticks)
    assert Progress(progress.plan).left_stage == NONE


def test_stages_that_are_none_of_the_plan_end_nothing():
    plan = decode_plan(build_plan([ramp(2500, 6000, 100), hot_air(6000), cool()]))
    progress = Progress(plan)
    record = decode_record(moments.first_ramp().packed)._replace(stage=77, mark=3)
    progress.follow(record)
    progress.follow(record._replace(tick=record.tick + 1))
    assert progress.kind() == NONE
    assert progress.next_mark() == messages.MARK_NOTE
    assert progress.planned_ticks() == 0
    assert not progress.air_on()
    assert progress.ticks_to_person() is None


# a bead that lifts


def test_the_bead_that_fell_is_named_while_the_device_says_that_one_lifts():
    bench = moments.second_ramp()
    bench.tick(50)
    bench.board_c = [bench.board_c[0], 30.0]
    bench.tick(20)
    assert bench.record.withheld & 128  # WITHHELD_LIFTED
    assert followed(bench).lifted == 1
    bench.board_c = [60.0, 58.0]
    bench.tick(50)
    assert followed(bench).lifted is None
