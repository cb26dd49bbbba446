"""The run that goes on after a mended trip: proofs and press again, from where the board is."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.safety_limits import (
    GO_ON_TRIPS,
    HOT_PROOF_DARK_TICKS,
    LEASE_TICKS,
    PRESS_VALID_TICKS,
)
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NONE
from tests.support.bench import ALWAYS, NEVER, OPEN_WORD
from tests.support.trips import (
    HOLD,
    MENDABLE,
    NOZZLE_PROMPT,
    RAMP,
    WAIT,
    WAIT_PROMPT,
    go_on,
    mended,
    running,
)


@pytest.mark.parametrize("name", MENDABLE)
def test_it_goes_on_in_its_stage_behind_both_proofs_and_a_press(name):
    bench = mended(name)
    left = bench.machine.sequencer.left_stage
    go_on(bench, left)
    said = bench.record
    state = rs.WAIT if left == WAIT else rs.RUN
    assert (bench.state, said.stage, said.trip) == (state, left, trip_codes.NO_TRIP)
    assert said.verdict == rs.NO_VERDICT
    bench.tick(320)
    assert bench.record.stage == WAIT


@pytest.mark.parametrize(("stage", "done_ticks"), [(RAMP, 0), (WAIT, 0), (HOLD, 9)])
def test_it_goes_on_nowhere_but_where_it_was(stage, done_ticks):
    bench = mended()
    assert bench.machine.sequencer.left_stage == HOLD
    assert bench.machine.sequencer.left_tick < 9
    bench.arm(stage=stage, done_ticks=done_ticks)
    bench.tick()
    assert bench.refusals[-1] == ms.BAD_RANGE and bench.state == rs.COOL


def test_stop_in_the_cooling_ends_the_offer():
    bench = mended()
    bench.stop()
    bench.tick(2)
    assert bench.record.prompt == NONE
    bench.arm(stage=HOLD)
    bench.tick()
    assert bench.refusals[-1] == ms.WRONG_STATE and bench.state == rs.COOL


def test_stop_is_heard_before_an_arming_in_the_same_tick():
    bench = mended()
    bench.stop()
    bench.acknowledge(GO_ON_PROMPT)
    bench.arm(stage=HOLD)
    bench.tick()
    assert bench.refusals[-3:] == [ms.DONE, ms.WRONG_PROMPT, ms.WRONG_STATE]
    assert bench.state == rs.COOL


@pytest.mark.parametrize("name", ["SENSOR_OPEN", "PC_LINK_LOST"])
def test_fault_that_comes_with_the_offer_takes_it_back(name):
    bench = mended(name)
    bench.machine.fail(bench.machine.tick)
    bench.arm(stage=HOLD)
    bench.tick()
    assert bench.refusals[-1] == ms.WRONG_STATE and bench.state == rs.COOL


def test_nothing_heats_between_the_trip_and_the_press():
    bench = mended()
    bench.acknowledge(GO_ON_PROMPT)
    bench.arm(stage=HOLD)
    for _ in range(PRESS_VALID_TICKS):
        bench.tick()
        assert bench.state == rs.COLD_PROOF
        assert not bench.heats and not bench.contactor_driven


def test_press_from_before_does_not_count():
    bench = mended()
    bench.button = True
    bench.tick(5)
    bench.arm(stage=HOLD)
    bench.tick(100)
    assert bench.state == rs.COLD_PROOF and bench.record.waits_for == rs.WAITS_RELEASE
    assert not bench.heats


def test_sensors_are_proved_again():
    bench = mended()
    bench.arm(stage=HOLD)
    bench.tick()
    bench.raw = {1: OPEN_WORD}
    bench.tick(30)
    assert bench.record.waits_for == rs.WAITS_SENSORS
    bench.press()
    assert bench.state == rs.COLD_PROOF


@pytest.mark.parametrize(
    ("spoilt", "trip"),
    [
        (dict(current=NEVER), trip_codes.HEAT_MISSING),
        (dict(current=ALWAYS), trip_codes.HEAT_UNCOMMANDED),
        (dict(contactor=NEVER), trip_codes.CONTACTOR_STUCK_OPEN),
    ],
)
def test_switches_are_proved_again(spoilt, trip):
    bench = mended()
    bench.arm(stage=HOLD)
    bench.tick(15)
    bench.press()
    assert bench.state == rs.HOT_PROOF
    vars(bench).update(spoilt)
    bench.tick(HOT_PROOF_DARK_TICKS + 20)
    assert bench.trip == trip and bench.state == rs.COOL


def test_not_pressed_it_cools_on_as_stopped():
    bench = mended()
    bench.arm(stage=HOLD)
    bench.tick(PRESS_VALID_TICKS)
    assert bench.state == rs.COLD_PROOF
    bench.tick()
    assert bench.state == rs.COOL and bench.record.verdict == rs.STOPPED
    bench.tick(100)
    assert bench.record.prompt == NONE, "it is offered once"
    bench.press()
    bench.tick(20)
    assert bench.state == rs.COOL and not bench.heats
    bench.board_c = [25.0, 25.0]
    bench.until(rs.STOPPED)


@pytest.mark.parametrize("how", ["stopped", "host gone"])
def test_armed_to_go_on_and_left_it_cools_on(how):
    bench = mended()
    bench.arm(stage=HOLD)
    bench.tick(20)
    if how == "stopped":
        bench.stop()
        bench.tick()
    else:
        bench.renews = False
        bench.tick(LEASE_TICKS)
    assert bench.state == rs.COOL and bench.record.verdict == rs.STOPPED
    assert not bench.contactor_driven


@pytest.mark.parametrize("name", ["SENSOR_OPEN", "SENSOR_BUS_DEAD"])
def test_trip_in_the_proof_does_not_forget_where_it_was(name):
    bench = running(HOLD)
    bench.tick(150)
    mended("SENSOR_OPEN", bench)
    done = bench.machine.sequencer.left_tick
    assert done > 100
    bench.acknowledge(GO_ON_PROMPT)
    bench.arm(stage=HOLD, done_ticks=done)
    bench.tick(15)
    bench.press()
    assert bench.state == rs.HOT_PROOF
    mended(name, bench)
    assert bench.machine.sequencer.left_stage == HOLD
    go_on(bench, HOLD, done)
    assert (bench.record.stage, bench.record.stage_tick) == (HOLD, done)


# How often.


def gone_on_after_two_trips():
    """Return a bench in its hold; one more trip of this cause, and it may only cool."""
    bench = mended()
    for _ in range(2):
        go_on(bench, HOLD)
        bench.tick(5)
        if bench.machine.life.trip_counts[trip_codes.SENSOR_OPEN] < GO_ON_TRIPS - 1:
            mended("SENSOR_OPEN", bench)
    assert bench.machine.life.trip_counts[trip_codes.SENSOR_OPEN] == GO_ON_TRIPS - 1
    return bench


def to_the_cooling(bench, how):
    """End the run with the verdict FINISHED."""
    if how == "cool down":
        bench.touch(ms.COOL_DOWN)
    elif how == "button":
        bench.press()
    elif how == "next stage":
        while bench.state in rs.STAGED_STATES:
            bench.touch(ms.NEXT_STAGE)
    else:
        bench.until_stage(WAIT)
        for prompt in (WAIT_PROMPT, NOZZLE_PROMPT, AIR_AWAY_PROMPT):
            bench.tick(2)
            bench.acknowledge(prompt)
        bench.tick(2)
    assert bench.state == rs.COOL
    bench.board_c = [25.0, 25.0]
    bench.until(rs.FINISHED)


@pytest.mark.parametrize(
    ("how", "left"),
    [("by itself", 0), ("cool down", 2), ("button", 2), ("next stage", 2)],
)
def test_only_a_plan_that_ran_to_its_end_forgets_the_trips(how, left):
    """Otherwise a loose couple could be answered for without end, a cool-down between."""
    bench = gone_on_after_two_trips()
    to_the_cooling(bench, how)
    assert bench.machine.life.trip_counts[trip_codes.SENSOR_OPEN] == left
