"""Replay gives the recorded bytes again: of a run with changes, and of one that goes on."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.replay import Replay, arms, field_at, goes_on
from tests.support.played import touched_run, went_on
from tests.support.trips import HOLD, go_on, mended, running


def armings(tape):
    return [number for number, packed in enumerate(tape) if arms(packed, len(packed))]


def replayed(bench, tape, trip_counts=None):
    """Replay a tape; return the name of the first field that differs, '' for none."""
    replay = Replay(bench.settings, bench.plan, trip_counts)
    for packed in tape:
        differs = replay.feed(packed, len(packed))
        if differs >= 0:
            return field_at(differs)
    return ""


def test_run_with_changes_is_replayed():
    bench = touched_run()
    (first,) = armings(bench.tape)
    assert replayed(bench, bench.tape[first:]) == ""


def test_change_that_is_taken_out_of_the_record_is_found():
    bench = touched_run()
    (first,) = armings(bench.tape)
    tape = bench.tape[first:]
    asked = bytes([ms.STAGE_REQUEST, 4, ms.HOLD_HERE])
    number = next(n for n, packed in enumerate(tape) if packed[-6:-3] == asked)
    tape[number] = tape[number][:-6]
    assert replayed(bench, tape) != ""


def test_run_that_goes_on_is_replayed_alone():
    bench, counts = went_on()
    first, second = armings(bench.tape)
    assert not goes_on(bench.tape[first], len(bench.tape[first]))
    assert goes_on(bench.tape[second], len(bench.tape[second]))
    assert replayed(bench, bench.tape[first:second]) == ""
    assert replayed(bench, bench.tape[second:], counts) == ""


def test_run_that_goes_on_and_trips_again_needs_the_trips_before():
    bench, counts = went_on()
    mended("SENSOR_OPEN", bench)
    second = armings(bench.tape)[-1]
    assert replayed(bench, bench.tape[second:], counts) == ""
    assert replayed(bench, bench.tape[second:]) == "trips_of_cause"


def test_second_going_on_is_replayed_too():
    bench, counts = went_on(times=2)
    assert replayed(bench, bench.tape[armings(bench.tape)[-1] :], counts) == ""


def test_both_runs_in_one_tape_are_replayed():
    bench, _counts = went_on()
    assert replayed(bench, bench.tape[armings(bench.tape)[0] :]) == ""


@pytest.mark.parametrize("source", [ms.BY_TERMINAL, ms.BY_SCRIPT])
def test_answer_in_the_tick_of_the_arming_is_replayed(source):
    bench = mended()
    bench.tick(5)
    counts = list(bench.machine.life.trip_counts)
    bench.acknowledge(GO_ON_PROMPT, source)
    bench.arm(stage=HOLD)
    bench.tick(40)
    assert replayed(bench, bench.tape[armings(bench.tape)[-1] :], counts) == ""


def test_mark_in_the_tick_of_the_arming_is_replayed():
    bench = mended()
    bench.tick(5)
    counts = list(bench.machine.life.trip_counts)
    bench.ask_touch(ms.MARK, ms.MARK_NOTE)
    bench.arm(stage=HOLD)
    bench.tick(40)
    assert replayed(bench, bench.tape[armings(bench.tape)[-1] :], counts) == ""


def test_fan_in_the_tick_of_the_arming_is_replayed():
    bench = mended()
    bench.tick(5)
    counts = list(bench.machine.life.trip_counts)
    bench.ask_touch(ms.FAN_NOW)
    bench.arm(stage=HOLD)
    bench.tick(40)
    assert replayed(bench, bench.tape[armings(bench.tape)[-1] :], counts) == ""


def test_refused_arming_before_the_one_that_goes_on_is_replayed():
    """Only a record's last ARM can have been taken: an armed device takes no other."""
    bench = mended()
    bench.tick(5)
    counts = list(bench.machine.life.trip_counts)
    bench.arm()
    bench.arm(stage=HOLD)
    bench.tick()
    assert bench.refusals[-2:] == [ms.WRONG_STATE, ms.DONE]
    assert goes_on(bench.packed, len(bench.packed))
    bench.tick(12)
    bench.press()
    bench.tick(40)
    assert replayed(bench, bench.tape[armings(bench.tape)[-1] :], counts) == ""


@pytest.mark.parametrize("done_ticks", [0, 60, 120])
def test_hold_that_goes_on_with_its_time_is_replayed(done_ticks):
    bench = running(HOLD)
    bench.tick(150)
    mended("SENSOR_OPEN", bench)
    counts = list(bench.machine.life.trip_counts)
    go_on(bench, HOLD, done_ticks)
    assert bench.record.stage_tick == done_ticks
    bench.tick(80)
    mended("SENSOR_OPEN", bench)
    assert bench.machine.sequencer.left_tick > done_ticks
    assert replayed(bench, bench.tape[armings(bench.tape)[-1] :], counts) == ""
