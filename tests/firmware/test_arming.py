"""From power-on to the first stage: arming, the press, both proofs."""

from emberbed.records import decode_record
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import (
    COLD_PROOF_GOOD_TICKS,
    HOT_PROOF_DARK_TICKS,
    HOT_PROOF_PULSE_TICKS,
    LEASE_TICKS,
    PRESS_HELD_TICKS,
    PRESS_VALID_TICKS,
)
from tests.support.bench import ALWAYS, NEVER, OPEN_WORD, Bench
from tests.support.plans import bench_settings

OPEN = {0: OPEN_WORD}


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


def test_second_of_good_sensors_begins_at_arming():
    bench = Bench()
    bench.tick(100)
    bench.load()
    bench.arm()
    bench.tick(COLD_PROOF_GOOD_TICKS - 1)
    assert bench.record.waits_for == rs.WAITS_SENSORS
    bench.tick()
    assert bench.record.waits_for == rs.WAITS_RELEASE


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
    # the press was the proof's tick 0; the senses answer a tick after the drive
    assert bench.until(rs.RUN) == HOT_PROOF_DARK_TICKS + HOT_PROOF_PULSE_TICKS + 2
    driven = [decode_record(packed).driven_zones for packed in bench.tape[first:]]
    dark, pulse = HOT_PROOF_DARK_TICKS, HOT_PROOF_PULSE_TICKS
    assert driven[:dark] == [0] * dark
    assert driven[dark : dark + pulse] == [1] * pulse
    assert sum(driven[dark + pulse :]) == 0


def test_first_stage_begins_without_a_kick_from_before():
    bench = Bench()
    bench.board_c = [30.0, 30.0]
    bench.to_armed().press()
    bench.board_c = [80.0, 80.0]  # rising: a fall like this would be a bead that lifts
    bench.until(rs.RUN)
    pid = bench.machine.pids[0]
    assert (pid.slope.slope_q6, pid.integral_q14) == (0, 0)
    assert pid.demand_q15 == bench.record.demand0_q15


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
