"""How a run ends: stopped, without its PC link, tripped; and the watched cool-down after it."""

import pytest

from emberbed_fw import messages, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.record import OUT_BUZZER
from emberbed_fw.replay import arms
from emberbed_fw.safety_limits import (
    HANDLING_TICKS,
    LEASE_TICKS,
    LEAST_COOL_TICKS,
)
from emberbed_fw.signals import TRIP_BUZZ_TICKS
from tests.support.bench import ALWAYS, OPEN_WORD, Bench

OPEN = {0: OPEN_WORD}


# Being stopped.


def _idle():
    bench = Bench()
    bench.tick()
    return bench


def _loaded():
    bench = Bench()
    bench.load()
    bench.tick()
    return bench


def _cooling():
    bench = Bench().to_second_ramp()
    bench.board_c = [80.0, 80.0]
    bench.until(rs.COOL)
    return bench


def _finished():
    bench = _cooling()
    bench.board_c = [25.0, 25.0]
    bench.until(rs.FINISHED)
    return bench


def _tripped():
    bench = Bench().to_run()
    bench.raw = dict(OPEN)
    bench.tick(3)
    bench.raw = {}
    bench.until(rs.TRIPPED)
    return bench


IN_STATE = {
    rs.IDLE: _idle,
    rs.LOADED: _loaded,
    rs.COLD_PROOF: lambda: Bench().to_armed(),
    rs.HOT_PROOF: lambda: Bench().to_armed().press(),
    rs.RUN: lambda: Bench().to_run(),
    rs.WAIT: lambda: Bench().to_wait(),
    rs.COOL: _cooling,
    rs.FINISHED: _finished,
    rs.TRIPPED: _tripped,
}
NAMES = [rs.STATE_NAMES[state] for state in IN_STATE]


@pytest.mark.parametrize("state", IN_STATE, ids=NAMES)
def test_stop_is_taken_in_every_state(state):
    bench = IN_STATE[state]()
    assert bench.state == state
    bench.stop()
    bench.tick()
    assert messages.DONE in bench.refusals and set(bench.refusals) == {messages.DONE}
    assert not bench.heats and not bench.contactor_driven
    assert bench.state == (rs.TRIPPED if state == rs.TRIPPED else rs.COOL)
    bench.board_c = [25.0, 25.0]
    bench.tick(LEAST_COOL_TICKS + HANDLING_TICKS)
    # a trip stays one, and a run that was cooling already had finished its heating
    verdict = {rs.TRIPPED: rs.TRIPPED, rs.COOL: rs.FINISHED}.get(state, rs.STOPPED)
    assert bench.state == verdict and bench.record.verdict == verdict


@pytest.mark.parametrize("state", IN_STATE, ids=NAMES)
def test_lost_pc_link_in_every_state(state):
    bench = IN_STATE[state]()
    bench.renews = False
    bench.tick(LEASE_TICKS - 1)
    before = bench.state
    bench.tick(1)
    assert not bench.heats
    heated = before in (rs.HOT_PROOF, rs.RUN, rs.WAIT)
    if heated:
        assert bench.state == rs.COOL and bench.record.verdict == rs.LINK_LOST
        assert bench.trip == trip_codes.NO_TRIP, "it is no trip"
        bench.board_c = [25.0, 25.0]
        bench.until(rs.LINK_LOST)
    elif before == rs.COLD_PROOF:
        assert bench.state == rs.LOADED
    else:
        assert bench.state == before


def test_stopped_run_shows_that_it_cools():
    bench = Bench().to_run()
    bench.stop()
    bench.tick(4)
    assert bench.record.stage == 4 and bench.record.stage_elapsed == 4
    assert bench.record.stage_tick == 0 and bench.record.demand0_q15 == 0


def test_link_that_comes_back_does_not_resume():
    bench = Bench().to_wait()
    bench.renews = False
    bench.until(rs.COOL, LEASE_TICKS)
    bench.renews = True
    bench.tick(300)
    assert bench.state == rs.COOL and not bench.heats


def test_cooling_after_a_lost_link_goes_on_being_recorded():
    bench = Bench().to_wait()
    bench.renews = False
    bench.until(rs.COOL, LEASE_TICKS)
    before = len(bench.tape)
    bench.tick(200)
    assert len(bench.tape) == before + 200
    assert bench.record.channel0_cdeg == pytest.approx(6000, abs=30)


# Tripping.


@pytest.mark.parametrize("state", [rs.RUN, rs.WAIT])
def test_trip_leads_into_a_watched_cool_down(state):
    bench = IN_STATE[state]()
    bench.board_c = [60.0, 60.0]
    bench.raw = dict(OPEN)
    bench.tick(2)
    assert bench.state == state and not bench.heats
    bench.tick()
    assert bench.state == rs.COOL and bench.record.trip == trip_codes.SENSOR_OPEN
    assert not bench.contactor_driven
    bench.raw = {}
    bench.tick(200)
    assert bench.state == rs.COOL and bench.record.channel0_cdeg == pytest.approx(6000, abs=30)
    bench.board_c = [25.0, 25.0]
    bench.until(rs.TRIPPED)


def test_trip_during_cooling_is_the_verdict():
    bench = _cooling()
    bench.current = ALWAYS
    bench.tick(5)
    assert bench.record.verdict == rs.TRIPPED


def test_trip_after_a_stop_is_not_forgotten():
    bench = Bench().to_wait()
    bench.stop()
    bench.tick(5)
    bench.current = ALWAYS
    bench.tick(5)
    bench.board_c = [25.0, 25.0]
    bench.until(rs.TRIPPED)
    assert bench.trip == trip_codes.HEAT_UNCOMMANDED


@pytest.mark.parametrize("state", [rs.IDLE, rs.LOADED, rs.COLD_PROOF, rs.FINISHED])
def test_switch_that_fails_while_nothing_runs_trips_too(state):
    bench = IN_STATE[state]()
    bench.contactor = ALWAYS
    bench.tick(10)
    assert bench.trip == trip_codes.CONTACTOR_STUCK_CLOSED
    assert bench.state in (rs.COOL, rs.TRIPPED)


def test_tripped_device_takes_no_plan_and_no_arming():
    bench = _tripped()
    bench.load()
    bench.arm()
    bench.tick()
    assert bench.refusals[-2:] == [messages.WRONG_STATE, messages.WRONG_STATE]
    assert bench.state == rs.TRIPPED


def test_trip_is_cleared_by_a_held_button_only():
    bench = _tripped()
    bench.tick(100)
    assert bench.state == rs.TRIPPED and bench.trip == trip_codes.SENSOR_OPEN
    bench.press()
    assert bench.state == rs.IDLE and bench.trip == trip_codes.NO_TRIP
    assert bench.record.verdict == rs.NO_VERDICT


def test_trip_is_not_cleared_while_anything_is_hot():
    bench = _tripped()
    bench.board_c = [25.0, 51.0]
    bench.tick(5)
    bench.press()
    assert bench.state == rs.TRIPPED and bench.trip == trip_codes.SENSOR_OPEN
    bench.board_c = [25.0, 49.0]
    bench.tick(5)
    bench.press()
    assert bench.state == rs.IDLE


def test_clearing_press_does_not_arm():
    bench = _tripped()
    bench.press()
    bench.tick(5)
    bench.arm()
    bench.tick(5)
    assert bench.state == rs.IDLE, "a plan has to be stored again"


def test_cleared_switch_that_still_leaks_trips_again():
    bench = _idle()
    bench.contactor = ALWAYS
    bench.tick(30)
    assert bench.state == rs.TRIPPED
    bench.press()
    bench.tick(20)
    assert bench.trip == trip_codes.CONTACTOR_STUCK_CLOSED


def test_trip_calls_for_five_seconds_and_then_is_quiet():
    bench = Bench().to_run()
    bench.raw = dict(OPEN)
    bench.tick(3)
    calls = []
    for _ in range(100):
        calls.append(bool(bench.record.outputs & OUT_BUZZER))
        bench.tick()
    assert calls[: TRIP_BUZZ_TICKS - 1] == [True] * (TRIP_BUZZ_TICKS - 1)
    assert not any(calls[TRIP_BUZZ_TICKS:])


def test_cooling_without_heat_and_without_a_sensor_ends_soon():
    bench = Bench()
    bench.raw = {0: OPEN_WORD, 1: OPEN_WORD}
    bench.tick()
    bench.stop()
    bench.until(rs.STOPPED, 2 * HANDLING_TICKS)


def test_refused_arming_is_no_place_for_replay_to_begin():
    bench = Bench()
    bench.tick()
    bench.arm()
    bench.tick()
    refused = bench.tape[-1]
    assert bench.state == rs.IDLE and not arms(refused, len(refused))
    bench = Bench().to_armed()
    accepted = [packed for packed in bench.tape if arms(packed, len(packed))]
    assert len(accepted) == 1
