"""The judge: each rule alone, with everything else in order."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.guard import Guard
from emberbed_fw.messages import ATTEND_HOST
from emberbed_fw.plan import Plan
from emberbed_fw.safety_limits import (
    DOUBTFUL_TICKS_TO_LATCH,
    HARD_CEILING_CDEG,
    LATE_TICK_MS,
    OVERRUN_TICK_MS,
)
from emberbed_fw.settings import Settings
from emberbed_fw.units import CHANNELS
from tests.support.judged import SENSOR_FAULTS, Judged
from tests.support.plans import bench_settings, build_plan, cool, ramp


def test_healthy_tick_may_heat():
    one = Judged()
    assert one.tick(100) == 1
    assert (one.withheld, one.trip) == (0, trip_codes.NO_TRIP)


def test_it_begins_with_nothing_counted_and_nobody_who_answers():
    guard = Guard(Settings(bench_settings()))
    begun = {name: getattr(guard, name) for name in guard.STATE}
    assert begun == {**dict.fromkeys(guard.STATE, 0), "attendance": ATTEND_HOST}
    assert trip_codes.NO_TRIP == 0 and (guard.rested, guard.memory) == (0, None)


def test_it_can_only_clear_bits():
    one = Judged()
    for wanted in range(16):
        assert one.tick(wanted=wanted) == wanted
    one.guard.set_trip(trip_codes.FIRMWARE_ERROR)
    for wanted in range(16):
        assert one.tick(wanted=wanted) == 0


@pytest.mark.parametrize("state", range(len(rs.STATE_NAMES)))
def test_only_states_behind_the_press_heat(state):
    one = Judged()
    one.state = state
    heats = state in (rs.HOT_PROOF, rs.RUN, rs.WAIT)
    assert one.tick() == (1 if heats else 0)
    assert one.withheld == (0 if heats else trip_codes.WITHHELD_STATE)


def test_no_plan_no_heat():
    one = Judged()
    one.plan = None
    assert one.tick() == 0


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("fault", SENSOR_FAULTS)
def test_doubtful_sensor_of_any_role_withholds_at_once_and_trips_at_the_third(channel, fault):
    one = Judged()
    one.readings.fault[channel] = fault
    for _ in range(DOUBTFUL_TICKS_TO_LATCH - 1):
        assert one.tick() == 0
        assert one.withheld == trip_codes.WITHHELD_SENSOR and one.trip == trip_codes.NO_TRIP
    one.tick()
    assert one.trip == fault


def test_doubtful_readings_must_follow_each_other_to_trip():
    one = Judged()
    for _ in range(10):
        one.readings.fault[0] = trip_codes.SENSOR_OPEN
        one.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
        one.readings.fault[0] = trip_codes.NO_TRIP
        assert one.tick() == 1
    assert one.trip == trip_codes.NO_TRIP


def test_different_doubts_in_a_row_count_together():
    one = Judged()
    for fault in SENSOR_FAULTS[:DOUBTFUL_TICKS_TO_LATCH]:
        one.readings.fault = [fault] + [trip_codes.NO_TRIP] * 7
        one.tick()
    assert one.trip == SENSOR_FAULTS[DOUBTFUL_TICKS_TO_LATCH - 1]


def test_channel_without_a_role_may_be_missing():
    one = Judged()
    one.readings.fault[5] = trip_codes.SENSOR_OPEN
    assert one.tick(10) == 1


def test_no_plan_lifts_the_hard_ceiling_from_a_channel_without_a_role():
    one = Judged()
    one.readings.cdeg[1] = HARD_CEILING_CDEG + 1
    one.plan = Plan(build_plan([ramp(2500, 9000, 650), cool()], role1=0))
    assert one.tick(1) == 0 and one.trip == trip_codes.NO_TRIP
    one.tick(2)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_limit_of_the_plan_says_nothing_about_a_channel_without_a_role():
    one = Judged()
    one.plan = Plan(build_plan([ramp(2500, 9000, 650), cool()], role1=0, limit1_cdeg=5000))
    assert one.readings.cdeg[1] > 5000
    assert one.tick(10) == 1 and one.trip == trip_codes.NO_TRIP


def test_sensor_fault_while_nothing_heats_withholds_and_does_not_trip():
    one = Judged()
    one.state = rs.COOL
    one.readings.fault[0] = trip_codes.SENSOR_OPEN
    one.tick(50)
    assert one.trip == trip_codes.NO_TRIP and one.withheld & trip_codes.WITHHELD_SENSOR


@pytest.mark.parametrize(("channel", "limit_cdeg"), [(0, 11000), (1, 12000)])
def test_limit_of_the_plan(channel, limit_cdeg):
    one = Judged()
    one.readings.cdeg[channel] = limit_cdeg
    assert one.tick(10) == 1
    one.readings.cdeg[channel] = limit_cdeg + 1
    assert one.tick() == 0
    assert one.withheld == trip_codes.WITHHELD_OVER_TEMPERATURE
    one.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_ceiling_of_the_device_is_tighter_than_the_plan():
    one = Judged(ceiling_cdeg=9000)
    one.readings.cdeg[0] = 9001
    one.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_no_plan_and_no_setting_loosens_the_hard_ceiling():
    one = Judged()
    one.guard.ceiling_cdeg = [99999] * CHANNELS
    one.plan = Plan(build_plan([cool()], limit0_cdeg=99999, limit1_cdeg=99999))
    one.readings.cdeg[0] = HARD_CEILING_CDEG
    assert one.tick(5) == 1
    one.readings.cdeg[0] = HARD_CEILING_CDEG + 1
    one.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_one_hot_reading_withholds_and_is_forgotten():
    one = Judged()
    one.readings.cdeg[0] = 11001
    one.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
    one.readings.cdeg[0] = 11000
    assert one.tick() == 1 and one.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize(
    ("elapsed_ms", "driven", "trip"),
    [
        (LATE_TICK_MS, 1, trip_codes.NO_TRIP),
        (LATE_TICK_MS + 1, 0, trip_codes.NO_TRIP),
        (OVERRUN_TICK_MS, 0, trip_codes.NO_TRIP),
        (OVERRUN_TICK_MS + 1, 0, trip_codes.TICK_OVERRUN),
    ],
)
def test_late_tick(elapsed_ms, driven, trip):
    one = Judged()
    one.elapsed_ms = elapsed_ms
    assert one.tick() == driven
    assert one.trip == trip


def test_late_tick_trips_only_where_heat_is_possible():
    one = Judged()
    one.state = rs.IDLE
    one.elapsed_ms = 60000
    one.tick()
    assert one.trip == trip_codes.NO_TRIP
