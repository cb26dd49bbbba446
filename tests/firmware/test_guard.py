"""The judge: each rule alone, with everything else in order."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.guard import Guard
from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.messages import ATTEND_HOST
from emberbed_fw.plan import Plan
from emberbed_fw.record import PORT_CONTACTOR_CLOSED
from emberbed_fw.safety_limits import (
    DOUBTFUL_TICKS_TO_LATCH,
    HARD_CEILING_CDEG,
    LATE_TICK_MS,
    OVERRUN_TICK_MS,
)
from emberbed_fw.settings import Settings
from emberbed_fw.units import CHANNELS
from tests.support.judged import EVERYTHING, PLAN, Fed, Judged
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


SENSOR_FAULTS = [
    trip_codes.SENSOR_OPEN, trip_codes.SENSOR_SHORT_GROUND, trip_codes.SENSOR_SHORT_SUPPLY,
    trip_codes.SENSOR_BUS_DEAD, trip_codes.SENSOR_STALE, trip_codes.SENSOR_RANGE,
]  # fmt: skip


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
    for _ in range(20):
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


def test_first_cause_is_kept_and_the_second_too():
    guard = Judged().guard
    guard.set_trip(trip_codes.SENSOR_OPEN)
    guard.set_trip(trip_codes.SENSOR_OPEN)
    assert guard.second_trip == trip_codes.NO_TRIP
    guard.set_trip(trip_codes.CONTACTOR_STUCK_CLOSED)
    guard.set_trip(trip_codes.FIRMWARE_ERROR)
    assert guard.trip == trip_codes.SENSOR_OPEN
    assert guard.second_trip == trip_codes.CONTACTOR_STUCK_CLOSED


def test_trip_holds_after_its_cause_has_gone():
    one = Judged()
    one.readings.fault[0] = trip_codes.SENSOR_OPEN
    one.tick(DOUBTFUL_TICKS_TO_LATCH)
    one.readings.fault[0] = trip_codes.NO_TRIP
    assert one.tick(1000) == 0
    assert one.withheld == trip_codes.WITHHELD_TRIP and one.trip == trip_codes.SENSOR_OPEN


def test_clear_forgets_trips_and_half_counted_doubts():
    one = Judged()
    one.readings.fault[0] = trip_codes.SENSOR_OPEN
    one.tick(DOUBTFUL_TICKS_TO_LATCH)
    one.guard.clear()
    one.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
    assert one.trip == trip_codes.NO_TRIP
    one.tick()
    assert one.trip == trip_codes.SENSOR_OPEN


SPOIL = {
    "doubtful reading": lambda one: one.readings.fault.__setitem__(0, trip_codes.SENSOR_OPEN),
    "too hot": lambda one: one.readings.cdeg.__setitem__(0, 20000),
    "uncommanded current": lambda one: vars(one).update(flags=EVERYTHING),
    "missing current": lambda one: vars(one).update(flags=PORT_CONTACTOR_CLOSED),
    "contactor": lambda one: vars(one).update(flags=0),
}


@pytest.mark.parametrize("cause", SPOIL)
def test_clear_starts_every_count_again(cause):
    def ticks_to_trip(one):
        SPOIL[cause](one)
        wanted = 0 if cause == "uncommanded current" else 1
        for taken in range(1, 50):
            one.tick(wanted=wanted)
            # keep asking: what the guard withholds is not driven, and then not missed either
            one.guard.note_outputs(wanted, one.outputs)
            if one.trip != trip_codes.NO_TRIP:
                return taken
        raise AssertionError("no trip")

    one = Judged()
    fresh = ticks_to_trip(one)
    assert fresh > 1
    one.guard.clear()
    one.guard.note_outputs(0 if cause == "uncommanded current" else 1, one.outputs)
    again = ticks_to_trip(one)
    # the first current after a drive is of the drive
    assert again == fresh - (1 if cause == "uncommanded current" else 0)


def test_one_good_reading_between_starts_the_heat_count_again():
    one = Judged()
    for _ in range(5):
        one.readings.cdeg[0] = 20000
        one.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
        one.readings.cdeg[0] = 8000
        one.tick()
    assert one.trip == trip_codes.NO_TRIP


def test_new_guard_has_no_lease_and_has_driven_nothing():
    guard = Guard(Settings(bench_settings()))
    guard.memory = MemoryWatch(PLAN.tables(), [])
    assert guard.lease_lost()
    readings = Fed(2500, 2500)
    for _ in range(50):
        assert guard.judge(rs.RUN, readings, PLAN, 0, 100, 1, False) == 0
    assert guard.trip == trip_codes.NO_TRIP, "nothing was commanded, so nothing is missing"


def test_every_reason_is_told_at_once():
    one = Judged()
    one.state = rs.COOL
    one.readings.fault[0] = trip_codes.SENSOR_OPEN
    one.readings.cdeg[1] = 20000
    one.guard.lease_left = 0
    one.elapsed_ms = 200
    one.flags = 0
    one.guard.set_trip(trip_codes.FIRMWARE_ERROR)
    one.tick()
    assert one.withheld == 127


def test_lifting_bead_is_told_beside_the_rest():
    one = Judged()
    one.guard.lift_watch.step(one.readings, one.plan.on_board, False)
    one.readings.cdeg[0] = 2000
    one.readings.fault[1] = trip_codes.SENSOR_OPEN
    one.tick(2)
    assert one.withheld == trip_codes.WITHHELD_LIFTED | trip_codes.WITHHELD_SENSOR


def test_unknown_trip_has_the_hardest_reaction():
    assert trip_codes.reaction_of(99) == trip_codes.LATCHED
    for code, _name, reaction in trip_codes.TRIPS:
        assert trip_codes.reaction_of(code) == reaction


def test_trip_codes_fit_the_records_fields():
    codes = [code for code, _name, _reaction in trip_codes.TRIPS]
    assert len(set(codes)) == len(codes) and max(codes) < 256
    # a channel's fault has four bits in the record
    assert max(SENSOR_FAULTS) < 16
