"""What the judge trips on it keeps: the first cause, what else came, and what clearing forgets."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.guard import Guard
from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.record import PORT_CONTACTOR_CLOSED
from emberbed_fw.safety_limits import (
    DOUBTFUL_TICKS_TO_LATCH,
)
from emberbed_fw.settings import Settings
from tests.support.judged import EVERYTHING, PLAN, SENSOR_FAULTS, Fed, Judged
from tests.support.plans import bench_settings


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
