"""Buzzer, lamp and the emitter's sensor: who is called, and what a hot heater may not hold up."""

import pytest

from emberbed.records import decode_record
from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.record import OUT_BUZZER, OUT_FAN, OUT_LAMP
from emberbed_fw.safety_limits import HANDLING_TICKS, LEAST_COOL_TICKS
from emberbed_fw.signals import AHEAD_CALL_TICKS, AHEAD_TICKS
from tests.support.bench import OPEN_WORD, Bench
from tests.support.plans import bench_settings, build_plan, cool, hold, hot_air, ramp, wait
from tests.support.trips import running as in_stage

THREE_SHORT = [0, 1, 4, 5, 8, 9]


def calls(bench, ticks):
    """Return in which of the next ticks the buzzer sounds."""
    before = len(bench.tape)
    bench.tick(ticks)
    said = [decode_record(packed).outputs & OUT_BUZZER for packed in bench.tape[before:]]
    return [number for number, on in enumerate(said) if on]


def soaking(*following):
    bench = Bench(build_plan([hold(6000, 1000), *following, cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    return bench


@pytest.mark.parametrize("stage", [wait(6000, prompt=3), hot_air(6000, prompt=3)])
def test_person_is_called_half_a_minute_before_being_needed(stage):
    bench = soaking(stage)
    sounded = calls(bench, 995)
    assert [tick - sounded[0] for tick in sounded] == THREE_SHORT
    assert abs(sounded[0] - (1000 - AHEAD_TICKS)) <= 2


@pytest.mark.parametrize("stage", [ramp(6000, 8000, 100), hold(6000, 50)])
def test_nobody_is_called_before_a_stage_that_needs_nobody(stage):
    assert calls(soaking(stage), 995) == []


def test_call_moves_with_a_longer_soak():
    bench = soaking(wait(6000, prompt=3))
    bench.touch(ms.EXTEND, 600)
    sounded = calls(bench, 1590)
    assert abs(sounded[0] - (1600 - AHEAD_TICKS)) <= 3


def test_lifting_bead_calls_at_once_and_until_it_is_down():
    bench = in_stage()
    bench.tick(AHEAD_CALL_TICKS)  # a person is needed in half a minute
    assert calls(bench, 30) == []
    bench.board_c = [45.0, 64.0]
    sounded = calls(bench, 60)
    assert sounded[0] <= 15 and len(sounded) >= 20
    bench.board_c = [64.0, 64.0]
    bench.tick(20)
    assert calls(bench, 30) == []


# A sensor at the emitter.

EMITTER = 2
THREE = tuple(
    (name, 1, ceiling_cdeg, 0, 4096)
    for name, ceiling_cdeg in (("control", 26000), ("edge", 26000), ("emitter", 90000))
)


def with_emitter_sensor(**header):
    roles = dict(role2=layout.ROLE_EMITTER, limit2_cdeg=26000)
    stages = [hold(6000, 50), cool()]
    bench = Bench(build_plan(stages, **{**roles, **header}), bench_settings(channels=THREE))
    bench.board_c = [60.0, 60.0, 200.0]
    return bench


def test_hot_emitter_does_not_hold_up_the_end_of_the_cooling():
    bench = with_emitter_sensor().to_run()
    bench.until(rs.COOL)
    bench.board_c = [30.0, 30.0, 200.0]
    bench.tick(LEAST_COOL_TICKS + HANDLING_TICKS)
    assert bench.state == rs.FINISHED
    assert bench.record.outputs & OUT_LAMP, "the heater is still hot, and the lamp says so"


def test_cold_board_on_hot_emitters_arms_without_waiting():
    bench = with_emitter_sensor()
    bench.board_c = [25.0, 25.0, 250.0]
    bench.to_run()
    assert bench.state == rs.RUN


def test_trip_clears_over_a_hot_emitter():
    bench = with_emitter_sensor().to_run()
    bench.board_c = [90.0, 60.0, 200.0]
    bench.tick(3)
    assert bench.trip == trip_codes.OVER_TEMPERATURE
    bench.board_c = [30.0, 30.0, 200.0]
    bench.until(rs.TRIPPED)
    bench.tick(5)
    bench.press()
    assert bench.state == rs.IDLE and bench.trip == trip_codes.NO_TRIP


def test_emitter_that_cools_fast_is_no_lifted_bead():
    bench = with_emitter_sensor().to_run()
    bench.board_c[EMITTER] = 120.0
    bench.tick(150)
    assert bench.trip == trip_codes.NO_TRIP
    assert not bench.record.withheld & trip_codes.WITHHELD_LIFTED


def test_emitter_has_a_limit_of_its_own():
    bench = with_emitter_sensor(limit2_cdeg=22000).to_run()
    bench.board_c[EMITTER] = 221.0
    bench.tick(3)
    assert bench.trip == trip_codes.OVER_TEMPERATURE


def test_missing_emitter_sensor_is_a_fault_like_any_other():
    bench = with_emitter_sensor().to_run()
    bench.raw = {EMITTER: 0}
    bench.tick(3)
    assert bench.trip == trip_codes.SENSOR_BUS_DEAD


def test_fan_does_not_wait_for_the_emitter():
    bench = with_emitter_sensor(fan_below_cdeg=7000).to_run()
    bench.until(rs.COOL)
    bench.tick(100)
    assert bench.record.outputs & OUT_FAN


# The sensors at the chip decide when the solder is solid.


@pytest.mark.parametrize("role", [layout.ROLE_CHIP_TOP, layout.ROLE_EDGE, layout.ROLE_NEIGHBOUR])
def test_solder_is_solid_by_the_sensors_near_it(role):
    header = dict(role1=role, fan_below_cdeg=7000, pause1_cdeg=9500, limit1_cdeg=10000)
    bench = Bench(build_plan([hold(6000, 50), cool()], **header))
    bench.board_c = [60.0, 80.0]
    bench.to_run()
    bench.until(rs.COOL)
    bench.tick(100)
    assert (bench.record.outputs & OUT_FAN != 0) is (role != layout.ROLE_CHIP_TOP)


def fan_runs(bench):
    return bench.record.outputs & OUT_FAN != 0


def in_cooling(role1=layout.ROLE_CHIP_TOP, **header):
    bench = Bench(build_plan([hold(6000, 50), cool()], role1=role1, **header))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    return bench


@pytest.mark.parametrize(
    ("role", "runs"), [(layout.ROLE_CHIP_TOP, False), (layout.ROLE_EDGE, True)]
)
def test_sensor_at_the_chip_that_fails_does_not_let_the_fan_start(role, runs):
    bench = in_cooling(role, fan_below_cdeg=7000)
    bench.raw = {1: OPEN_WORD}
    bench.until(rs.COOL)
    bench.tick(100)
    assert fan_runs(bench) is runs


def test_sensor_at_the_chip_that_fails_stops_the_fan():
    bench = in_cooling(fan_below_cdeg=7000)
    bench.until(rs.COOL)
    bench.tick(100)
    assert fan_runs(bench)
    bench.raw = {1: OPEN_WORD}
    bench.tick()
    assert not fan_runs(bench)
    bench.raw = {}
    bench.tick(30)
    assert fan_runs(bench)


@pytest.mark.parametrize("fan_starts", [layout.FAN_WHEN_SOLID, layout.FAN_ON_PRESS])
def test_fan_rests_while_nothing_tells_how_fast_the_board_cools(fan_starts):
    bench = in_cooling(fan_below_cdeg=7000, fan_starts=fan_starts)
    bench.until(rs.COOL)
    bench.touch(ms.FAN_NOW)
    bench.tick(50)
    assert fan_runs(bench)
    bench.raw = {0: OPEN_WORD}
    for _ in range(200):
        bench.tick()
        assert not fan_runs(bench)
