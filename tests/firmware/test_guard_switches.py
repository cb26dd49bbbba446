"""The judge of both switches: what was driven held against what the senses say."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.record import OUT_CONTACTOR, OUT_FAN, PORT_CONTACTOR_CLOSED
from emberbed_fw.safety_limits import CONTACTOR_TICKS, MISSING_TICKS, UNCOMMANDED_TICKS
from tests.support.judged import EVERYTHING, Judged


def test_switch_that_is_stuck_on_is_found_between_short_pulses():
    """At half power and more no gap is three ticks long: the undriven ticks add up."""
    one = Judged()
    one.flags = EVERYTHING
    for tick in range(2 * UNCOMMANDED_TICKS):
        assert one.trip == trip_codes.NO_TRIP
        one.tick(wanted=tick % 2)
    assert one.trip == trip_codes.HEAT_UNCOMMANDED


def test_current_that_nobody_asked_for_trips():
    one = Judged()
    one.flags = EVERYTHING
    one.tick(wanted=0)
    one.tick(UNCOMMANDED_TICKS - 1, wanted=0)
    assert one.trip == trip_codes.NO_TRIP
    one.tick(wanted=0)
    assert one.trip == trip_codes.HEAT_UNCOMMANDED


@pytest.mark.parametrize("state", range(len(rs.STATE_NAMES)))
def test_uncommanded_current_trips_in_every_state(state):
    one = Judged()
    one.state = state
    one.flags = EVERYTHING
    one.tick(UNCOMMANDED_TICKS + 1, wanted=0)
    assert one.trip == trip_codes.HEAT_UNCOMMANDED


def test_current_of_the_tick_before_is_not_uncommanded():
    # the sense answers one tick after the drive: on, off, on, off is healthy
    one = Judged()
    for tick in range(100):
        one.tick(wanted=tick & 1)
    assert one.trip == trip_codes.NO_TRIP


def test_missing_current_trips():
    one = Judged()
    one.flags = PORT_CONTACTOR_CLOSED
    one.tick(MISSING_TICKS - 1)
    assert one.trip == trip_codes.NO_TRIP and one.guard.heat_seen == 0
    one.tick()
    assert one.trip == trip_codes.HEAT_MISSING


def test_missing_current_is_counted_in_driven_ticks():
    one = Judged()
    one.flags = PORT_CONTACTOR_CLOSED
    driven = 0
    while one.trip == trip_codes.NO_TRIP and driven < 1000:
        one.tick(9, wanted=0)
        driven += one.tick(wanted=1)
    # `note_outputs` at the start was one of them
    assert one.trip == trip_codes.HEAT_MISSING and driven == MISSING_TICKS - 1


def test_one_flow_of_current_starts_the_count_again():
    one = Judged()
    for _ in range(5):
        one.flags = PORT_CONTACTOR_CLOSED
        one.tick(MISSING_TICKS - 1)
        one.flags = EVERYTHING
        one.tick()
    assert one.trip == trip_codes.NO_TRIP and one.guard.heat_seen == 1


@pytest.mark.parametrize(
    ("outputs", "flags", "trip"),
    [
        (OUT_CONTACTOR, 0, trip_codes.CONTACTOR_STUCK_OPEN),
        (0, PORT_CONTACTOR_CLOSED, trip_codes.CONTACTOR_STUCK_CLOSED),
        (OUT_FAN, PORT_CONTACTOR_CLOSED, trip_codes.CONTACTOR_STUCK_CLOSED),
    ],
)
@pytest.mark.parametrize("state", [rs.IDLE, rs.HOT_PROOF, rs.COOL])
def test_contactor_that_does_not_follow_its_coil_trips(outputs, flags, trip, state):
    one = Judged()
    one.state = state
    one.outputs = outputs
    one.guard.note_outputs(0, outputs)
    one.flags = flags
    one.tick(CONTACTOR_TICKS - 1, wanted=0)
    assert one.trip == trip_codes.NO_TRIP
    one.tick(wanted=0)
    assert one.trip == trip


def test_slow_contactor_is_withheld_but_no_fault():
    one = Judged()
    one.flags = 0
    assert one.tick(CONTACTOR_TICKS - 1) == 0
    assert one.withheld == trip_codes.WITHHELD_SWITCH
    one.flags = PORT_CONTACTOR_CLOSED
    assert one.tick() == 1
    one.flags = 0
    one.tick(CONTACTOR_TICKS - 1)
    assert one.trip == trip_codes.NO_TRIP


def test_without_senses_the_switches_are_not_judged():
    one = Judged(has=0)
    one.flags = 0
    assert one.tick(100) == 1
    one.flags = EVERYTHING
    one.outputs = 0
    one.tick(100, wanted=0)
    assert one.trip == trip_codes.NO_TRIP
