"""The life of a run, played tick by tick: arming, the press, stages, the watched cool-down."""

import pytest

from emberbed.records import decode_record
from emberbed_fw import messages, record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw import settings as fw_settings
from emberbed_fw.replay import Replay, arms
from emberbed_fw.safety_limits import (
    ANSWER_TICKS,
    BLIND_COOL_TICKS,
    COLD_PROOF_GOOD_TICKS,
    HANDLING_TICKS,
    HOT_PROOF_DARK_TICKS,
    HOT_PROOF_PULSE_TICKS,
    LEAST_COOL_TICKS,
    LEASE_TICKS,
    PRESS_HELD_TICKS,
    PRESS_VALID_TICKS,
)
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import NONE
from tests.support.bench import ALWAYS, NEVER, OPEN_WORD, Bench, short_plan
from tests.support.plans import bench_settings, build_plan, cool, hold, ramp, wait

OPEN = {0: OPEN_WORD}


def to_wait(bench):
    """Lead a bench through its first stages to the prompt."""
    bench.to_run()
    bench.board_c = [60.0, 60.0]
    bench.until(rs.WAIT)
    return bench


def to_second_ramp(bench):
    to_wait(bench).tick()
    bench.acknowledge(7)
    bench.until(rs.RUN, 5)
    return bench


# Before heat.


def test_boots_idle_dark_and_open():
    bench = Bench()
    assert bench.tick() == rs.IDLE
    assert not bench.heats and not bench.contactor_driven


def test_arming_needs_a_plan_first():
    bench = Bench()
    bench.arm()
    bench.tick()
    assert bench.state == rs.IDLE
    bench.load()
    assert bench.tick() == rs.LOADED


def test_no_heat_and_no_contactor_before_the_press():
    bench = Bench().to_armed()
    for _ in range(PRESS_VALID_TICKS - 20):
        bench.tick()
        assert bench.state == rs.COLD_PROOF and not bench.heats and not bench.contactor_driven
    assert bench.record.waits_for == rs.WAITS_PRESS


def test_press_counts_once_held_for_a_second():
    bench = Bench().to_armed()
    bench.button = True
    bench.tick(PRESS_HELD_TICKS - 1)
    assert bench.state == rs.COLD_PROOF
    assert bench.tick() == rs.HOT_PROOF


def test_brushed_button_does_not_count():
    bench = Bench().to_armed()
    for _ in range(20):
        bench.button = True
        bench.tick(PRESS_HELD_TICKS - 1)
        bench.button = False
        bench.tick(3)
    assert bench.state == rs.COLD_PROOF


def test_stuck_button_cannot_start_a_run():
    bench = Bench()
    bench.button = True
    bench.tick(50)
    bench.load()
    bench.arm()
    bench.tick(PRESS_VALID_TICKS)
    assert bench.state == rs.COLD_PROOF and bench.record.waits_for == rs.WAITS_RELEASE
    bench.tick(1)
    assert bench.state == rs.LOADED


def test_press_that_began_before_arming_does_not_count():
    bench = Bench()
    bench.load()
    bench.tick(5)
    bench.button = True
    bench.arm()
    bench.tick(100)
    assert bench.state == rs.COLD_PROOF
    bench.button = False
    bench.tick(5)
    bench.press()
    assert bench.state == rs.HOT_PROOF


def test_press_is_offered_for_two_minutes_and_then_again():
    bench = Bench()
    bench.load()
    bench.arm()
    bench.tick(PRESS_VALID_TICKS)
    assert bench.state == rs.COLD_PROOF
    bench.tick()
    assert bench.state == rs.LOADED
    bench.press()
    bench.tick(20)
    assert bench.state == rs.LOADED, "a press after its time starts nothing"
    bench.arm()
    bench.tick(15)
    bench.press()
    assert bench.state == rs.HOT_PROOF


def test_sensors_must_be_good_for_a_second_before_the_press():
    bench = Bench()
    bench.raw = dict(OPEN)
    bench.load()
    bench.arm()
    bench.tick(30)
    bench.press()
    assert bench.state == rs.COLD_PROOF and bench.record.waits_for == rs.WAITS_SENSORS
    bench.raw = {}
    bench.tick(COLD_PROOF_GOOD_TICKS - 1)
    assert bench.record.waits_for == rs.WAITS_SENSORS
    bench.tick()
    assert bench.record.waits_for == rs.WAITS_RELEASE
    bench.tick(3)
    assert bench.press().state == rs.HOT_PROOF


def test_sensor_that_fails_during_the_press_asks_for_a_new_one():
    bench = Bench().to_armed()
    bench.button = True
    bench.tick(PRESS_HELD_TICKS - 1)
    bench.raw = dict(OPEN)
    bench.tick(1)
    bench.raw = {}
    bench.tick(60)
    assert bench.state == rs.COLD_PROOF


def test_armed_device_without_a_host_is_no_longer_armed():
    bench = Bench().to_armed()
    bench.renews = False
    bench.tick(LEASE_TICKS - 1)
    assert bench.state == rs.COLD_PROOF
    assert bench.tick() == rs.LOADED


# The second proof.


def test_hot_proof_closes_the_contactor_dark_and_then_pulses_once():
    bench = Bench().to_armed().press()
    assert bench.state == rs.HOT_PROOF
    first = len(bench.tape)
    bench.until(rs.RUN)
    driven = [decode_record(packed).driven_zones for packed in bench.tape[first:]]
    dark, pulse = HOT_PROOF_DARK_TICKS, HOT_PROOF_PULSE_TICKS
    assert driven[:dark] == [0] * dark
    assert driven[dark : dark + pulse] == [1] * pulse
    assert sum(driven[dark + pulse :]) == 0


def test_hot_proof_without_current_trips():
    bench = Bench().to_armed().press()
    bench.current = NEVER
    bench.tick(HOT_PROOF_DARK_TICKS + HOT_PROOF_PULSE_TICKS + 2)
    assert bench.state == rs.COOL and bench.trip == trip_codes.HEAT_MISSING


def test_hot_proof_finds_a_relay_that_is_stuck_on():
    bench = Bench().to_armed().press()
    bench.current = ALWAYS
    bench.tick(HOT_PROOF_DARK_TICKS)
    assert bench.trip == trip_codes.HEAT_UNCOMMANDED
    assert not bench.contactor_driven


def test_hot_proof_waits_for_a_good_reading():
    bench = Bench().to_armed().press()
    bench.tick(HOT_PROOF_DARK_TICKS + HOT_PROOF_PULSE_TICKS)
    bench.raw = dict(OPEN)
    bench.tick(2)
    assert bench.state == rs.HOT_PROOF
    bench.raw = {}
    assert bench.tick() == rs.RUN
    assert bench.record.setpoint_cdeg == 2500


def test_device_without_senses_runs_too():
    bench = Bench(settings=bench_settings(has=0))
    bench.contactor = NEVER
    bench.current = NEVER
    bench.to_run()
    bench.tick(50)
    assert bench.state == rs.RUN and bench.heats


# A whole run.


def test_run_goes_through_its_stages_to_finished():
    bench = to_wait(Bench())
    assert bench.record.stage == 2 and bench.record.prompt == NONE
    bench.tick()
    assert bench.record.prompt == 7 and bench.record.waits_for == rs.WAITS_OPERATOR
    bench.tick(200)
    assert bench.state == rs.WAIT and bench.contactor_driven
    bench.acknowledge(7)
    bench.tick()
    assert bench.state == rs.RUN and bench.record.stage == 3
    bench.board_c = [80.0, 80.0]
    bench.until(rs.COOL)
    assert bench.record.verdict == rs.FINISHED and bench.record.stage == 4
    assert not bench.heats and not bench.contactor_driven
    assert bench.record.outputs & record.OUT_FAN
    bench.board_c = [49.0, 49.0]
    bench.until(rs.FINISHED)


def test_tap_at_the_device_answers_a_prompt():
    bench = to_wait(Bench())
    bench.tick(5)
    bench.button = True
    bench.tick(4)
    assert bench.state == rs.WAIT
    bench.button = False
    assert bench.tick() == rs.RUN


def test_cooling_ends_when_every_good_sensor_is_cool_for_a_second():
    bench = to_wait(Bench())
    bench.stop()
    bench.tick()
    bench.board_c = [49.0, 51.0]
    bench.tick(LEAST_COOL_TICKS)
    assert bench.state == rs.COOL and bench.record.waits_for == rs.WAITS_COOLING
    bench.board_c = [49.0, 49.0]
    bench.tick(HANDLING_TICKS - 1)
    bench.board_c = [51.0, 49.0]
    bench.tick(1)
    bench.board_c = [49.0, 49.0]
    bench.tick(HANDLING_TICKS - 1)
    assert bench.state == rs.COOL, "one noisy reading starts the second again"
    assert bench.tick() == rs.STOPPED


def test_cooling_lasts_until_the_stored_heat_has_arrived():
    bench = to_wait(Bench())
    bench.board_c = [40.0, 40.0]  # cool already, but the emitters are not
    bench.stop()
    bench.tick(LEAST_COOL_TICKS)
    assert bench.state == rs.COOL
    bench.until(rs.STOPPED, HANDLING_TICKS)


def test_run_that_never_heated_need_not_wait_for_stored_heat():
    bench = Bench().to_armed()
    bench.stop()
    bench.until(rs.STOPPED, HANDLING_TICKS + 1)


def test_cooling_that_no_sensor_sees_takes_half_an_hour():
    bench = to_wait(Bench())
    bench.raw = {0: OPEN_WORD, 1: OPEN_WORD}
    bench.tick(3)
    assert bench.state == rs.COOL and bench.trip == trip_codes.SENSOR_OPEN
    bench.renews = False
    bench.tick(BLIND_COOL_TICKS - 2)
    assert bench.state == rs.COOL
    bench.tick(2)
    assert bench.state == rs.TRIPPED


def test_fan_waits_until_the_solder_is_hard():
    plan = build_plan([hold(23000, 5), cool()], fan_below_cdeg=20700)
    bench = Bench(plan)
    bench.board_c = [230.0, 230.0]
    bench.to_armed().press()
    bench.until(rs.COOL)
    bench.tick(50)
    assert not bench.record.outputs & record.OUT_FAN
    bench.board_c = [206.0, 206.0]
    bench.tick(200)  # the slope of this jump has to leave the filter first
    assert bench.record.outputs & record.OUT_FAN


def test_fan_pauses_while_the_board_falls_too_fast():
    stages = [hold(15000, 5), dict(cool(), fastest_cdeg_per_min=12000)]
    bench = Bench(build_plan(stages))
    bench.board_c = [150.0, 150.0]
    bench.to_armed().press()
    bench.until(rs.COOL)
    seen = set()
    for _ in range(300):
        bench.board_c = [bench.board_c[0] - 0.25] * 2  # 150 degC a minute, 120 allowed
        bench.tick()
        seen.add(bench.record.outputs & record.OUT_FAN)
    assert bench.record.outputs & record.OUT_FAN == 0
    bench.tick(200)
    assert bench.record.outputs & record.OUT_FAN


def test_device_without_a_fan_drives_none():
    senses = fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE
    bench = to_wait(Bench(settings=bench_settings(has=senses)))
    bench.stop()
    bench.tick(100)
    assert bench.state == rs.COOL and not bench.record.outputs & record.OUT_FAN


def test_lamp_shines_while_anything_is_hot():
    bench = to_wait(Bench())
    assert bench.record.outputs & record.OUT_LAMP
    bench.board_c = [49.0, 49.0]
    bench.tick()
    assert not bench.record.outputs & record.OUT_LAMP


def test_buzzer_reminds_of_a_prompt():
    bench = to_wait(Bench())
    calls = []
    for _ in range(610):
        bench.tick()
        calls.append(bench.record.outputs & record.OUT_BUZZER != 0)
    # remind_ticks 300: at the third hundred and at the sixth
    assert not calls[100] and not calls[200]
    assert sum(calls[290:310]) == 5 and sum(calls[590:610]) == 5


def test_energy_is_counted_in_joules():
    bench = Bench().to_run()
    driven = sum(decode_record(packed).driven_zones for packed in bench.tape)
    bench.tick(100)
    driven += sum(decode_record(packed).driven_zones for packed in bench.tape[-100:])
    assert bench.record.energy_j == driven * 1000 // 10


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
    bench = to_second_ramp(Bench())
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
    rs.WAIT: lambda: to_wait(Bench()),
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
    verdict = rs.TRIPPED if state == rs.TRIPPED else rs.STOPPED
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


def test_link_that_comes_back_does_not_resume():
    bench = to_wait(Bench())
    bench.renews = False
    bench.until(rs.COOL, LEASE_TICKS)
    bench.renews = True
    bench.tick(300)
    assert bench.state == rs.COOL and not bench.heats


def test_cooling_after_a_lost_link_goes_on_being_recorded():
    bench = to_wait(Bench())
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
    bench = to_wait(Bench())
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


# Time limits of the run.


def test_run_that_takes_too_long_ends():
    bench = Bench(short_plan(longest_run_ticks=150)).to_run()
    bench.tick(149)
    assert bench.state == rs.RUN
    bench.tick(1)
    assert bench.trip == trip_codes.NO_TRIP
    bench.tick(1)
    assert bench.state == rs.COOL and bench.trip == trip_codes.RUN_TOO_LONG


def test_unanswered_prompt_takes_heat_away():
    bench = Bench(build_plan([hold(6000, 5), wait(6000, prompt=4, longest_ticks=300), cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until(rs.WAIT)
    bench.tick(299)
    assert bench.state == rs.WAIT
    bench.tick()
    assert bench.state == rs.COOL and bench.trip == trip_codes.PROMPT_OVERDUE
    assert not bench.heats


def test_stage_that_takes_too_long_asks_and_then_ends():
    bench = Bench(build_plan([ramp(2500, 9000, 100, longest_ticks=400), cool()])).to_run()
    bench.tick(400)
    assert bench.record.prompt == LONGER_PROMPT
    bench.acknowledge(LONGER_PROMPT)
    bench.tick(2)
    assert bench.record.prompt == NONE
    bench.tick(ANSWER_TICKS + 2 * ANSWER_TICKS)
    assert bench.state == rs.COOL and bench.trip == trip_codes.STAGE_OVERDUE


# Same inputs, same bytes.


def rehearse(bench):
    """Play a run with everything in it, arm twice, and stop in the end."""
    bench.load()
    bench.arm()
    bench.tick(PRESS_VALID_TICKS + 1)
    assert bench.state == rs.LOADED
    bench.board_c = [55.0, 57.0]  # warm from the time before: the slope filter must not remember
    bench.tick(5)
    bench.arm()
    first = len(bench.tape)
    bench.tick(15)
    bench.stop()
    for _ in range(60):
        bench.board_c = [bench.board_c[0] - 0.2, bench.board_c[1] - 0.2]
        bench.tick()
    return bench.tape[first:]


def test_same_inputs_twice_give_the_same_bytes():
    one, other = Bench(), Bench()
    assert rehearse(one) == rehearse(other)
    assert one.tape == other.tape


def test_second_arming_starts_from_constants():
    bench = Bench()
    tape = rehearse(bench)
    assert arms(tape[0], len(tape[0]))
    replay = Replay(bench.settings, bench.plan)
    for packed in tape:
        assert replay.feed(packed, len(packed)) == -1
