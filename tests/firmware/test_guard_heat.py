"""The judge on heat and on itself: what was really driven, what it warns of, what it sums up."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import settings as fw_settings
from emberbed_fw import trip_codes as codes
from emberbed_fw.record import (
    OUT_CONTACTOR,
    OUT_FAN,
    PORT_FAN_TURNS,
    PORT_HEAT_CURRENT,
)
from emberbed_fw.safety_limits import (
    AIR_SETTLE_TICKS,
    BALANCE_WARN_MK,
    FAN_TICKS,
    LIFT_TICKS,
)
from emberbed_fw.units import NO_READING_CDEG
from tests.support.doubted import GUESSED, MODEL
from tests.support.judged_heat import BOTH, CLOSED, judged

# What was really driven.


@pytest.mark.parametrize(("has", "driven", "flows", "watts"), [
    (BOTH, 1, True, 1000), (BOTH, 1, False, 0), (BOTH, 0, True, 1000), (BOTH, 0, False, 0),
    (fw_settings.HAS_CONTACTOR_SENSE, 1, False, 1000),
    (fw_settings.HAS_CONTACTOR_SENSE, 1, True, 1000),
    (fw_settings.HAS_CONTACTOR_SENSE, 0, True, 0),
])  # fmt: skip
def test_a_current_sense_knows_better_than_the_command(has, driven, flows, watts):
    one = judged(has)
    one.guard.note_outputs(driven, OUT_CONTACTOR)
    one.flags = CLOSED | (PORT_HEAT_CURRENT if flows else 0)
    one.tick(wanted=0)
    assert one.guard.facts.driven_w == watts
    assert one.guard.facts.sees_current is (has == BOTH)


def test_only_driven_zones_count():
    one = judged(fw_settings.HAS_CONTACTOR_SENSE)
    one.guard._watts = [100, 20, 3, 0]
    one.flags = CLOSED
    for driven in range(8):
        one.guard.note_outputs(driven, OUT_CONTACTOR)
        one.tick(wanted=0)
        bits = [driven >> zone & 1 for zone in range(3)]
        assert one.guard.facts.driven_w == 100 * bits[0] + 20 * bits[1] + 3 * bits[2]


def test_heat_that_is_driven_warms_the_model():
    one = judged()
    before = one.guard.model.emitter_mk
    one.tick(20)
    # 1 kW for 2 s into 120 J/K, less what is lost at 127 degC
    assert 15000 < one.guard.model.emitter_mk - before < 1000 * 2000 // 120


# What the doubts are told, and what they tell.


def test_doubts_get_the_facts_of_the_tick():
    one = judged()
    facts = one.guard.facts
    one.tick()
    assert (facts.heats, facts.staged, facts.air, facts.lifting) == (True, True, False, 0)
    one.state = rs.HOT_PROOF
    one.tick()
    assert (facts.heats, facts.staged) == (True, False)
    one.state = rs.COOL
    one.tick()
    assert (facts.heats, facts.staged) == (False, False)


def test_air_is_told_for_as_long_as_it_may_cool_a_bead():
    one = judged()
    one.air_on = True
    one.tick()
    one.air_on = False
    for _ in range(AIR_SETTLE_TICKS - 1):
        one.tick()
        assert one.guard.facts.air
    one.tick(5)
    assert not one.guard.facts.air and one.guard._air_ticks == 0


def test_a_lifting_bead_is_told():
    one = judged()
    one.tick(5)
    one.readings.cdeg[0] -= 1500
    one.tick(8)
    assert one.guard.facts.lifting == 1 and one.withheld & codes.WITHHELD_LIFTED


def lifted(ticks):
    """Return a guard whose first bead has been off for so long."""
    one = judged()
    one.tick(5)
    one.readings.cdeg[0] -= 1500
    one.tick(ticks)
    return one


def test_after_its_trip_it_waits_for_the_bead_to_come_back():
    one = lifted(LIFT_TICKS + 10)
    assert one.trip == codes.SENSOR_LIFTED
    one.state = rs.COOL
    one.tick(20)
    assert one.guard.lift_watch.lifting == 1
    one.readings.cdeg[0] += 1500
    one.tick(20)
    assert one.guard.lift_watch.lifting == 0


@pytest.mark.parametrize("trip", [codes.NO_TRIP, codes.SENSOR_OPEN])
def test_a_suspicion_without_its_trip_ends_with_the_heating(trip):
    one = lifted(8)
    assert one.guard.lift_watch.lifting == 1
    one.guard.set_trip(trip)
    one.state = rs.COOL
    one.tick()
    assert one.guard.lift_watch.lifting == 0 and not one.withheld & codes.WITHHELD_LIFTED


def test_a_bead_that_is_off_after_its_trip_withholds_as_long_as_it_heats():
    one = lifted(LIFT_TICKS + 10)
    assert one.withheld & codes.WITHHELD_LIFTED


def test_a_bead_in_the_jet_is_watched_for_lifting_without_air_only():
    one = judged(**MODEL, in_jet_channels=0b10)
    one.air_on = True
    one.tick(5)
    one.readings.cdeg[1] -= 1500
    one.tick(8)
    assert one.guard.lift_watch.lifting == 0
    one.air_on = False
    one.tick(AIR_SETTLE_TICKS - 1)
    assert one.guard.lift_watch._slow_q6[1] == NO_READING_CDEG, "not watched yet"
    one.tick()
    assert one.guard.lift_watch._slow_q6[1] == one.readings.cdeg[1] << 6
    one.readings.cdeg[1] -= 1500
    one.tick(8)
    assert one.guard.lift_watch.lifting == 0b10


def test_a_trip_of_the_doubts_is_the_guard_s():
    one = judged()
    one.readings.cold_cdeg[:2] = [9000, 9000]
    assert one.tick() == 0 and one.withheld == codes.WITHHELD_SENSOR
    one.tick(40)
    assert one.trip == codes.COLD_JUNCTION


@pytest.mark.parametrize("fine", [False, True])
def test_cold_junctions_that_cannot_be_keep_it_from_being_armed(fine):
    one = judged()
    one.state = rs.COLD_PROOF
    one.readings.cold_cdeg[:2] = [2500, 2500] if fine else [9000, 9000]
    one.tick()
    assert one.guard.may_arm() is fine


# Warnings.


@pytest.mark.parametrize(("has", "model", "rested", "warnings"), [
    (BOTH, MODEL, 0, 0),
    (BOTH, GUESSED, 0, codes.WARN_NOT_IDENTIFIED),
    (fw_settings.HAS_HEAT_SENSE, MODEL, 0, codes.WARN_SECOND_SWITCH),
    (BOTH, MODEL, 1, codes.NOTE_RESTED),
    (0, GUESSED, 1, codes.WARN_NOT_IDENTIFIED | codes.WARN_SECOND_SWITCH | codes.NOTE_RESTED),
])  # fmt: skip
def test_warnings(has, model, rested, warnings):
    one = judged(has, **model)
    one.guard.rested = rested
    one.tick()
    assert one.guard.warnings == warnings
    one.guard.clear()
    assert one.guard.warnings == 0


def test_what_the_doubts_warn_of_is_among_them():
    one = judged()
    one.tick()
    one.guard.doubts.balance.missing_q6 = (BALANCE_WARN_MK + 200) << 6
    one.tick()
    assert one.guard.warnings == codes.WARN_MISSING


@pytest.mark.parametrize("turns", [False, True])
@pytest.mark.parametrize("told", [False, True])
@pytest.mark.parametrize("tach", [False, True])
def test_fan_is_held_against_what_it_was_told(turns, told, tach):
    one = judged(BOTH | (fw_settings.HAS_FAN_TACH if tach else 0))
    one.outputs = OUT_CONTACTOR | (OUT_FAN if told else 0)
    one.guard.note_outputs(0, one.outputs)
    one.flags = CLOSED | (PORT_FAN_TURNS if turns else 0)
    wrong = tach and turns != told
    one.tick(FAN_TICKS - 1, wanted=0)
    assert not one.guard.warnings & codes.WARN_FAN
    one.tick(5, wanted=0)
    assert one.guard.warnings == (codes.WARN_FAN if wrong else 0)
    one.flags ^= PORT_FAN_TURNS
    one.tick(wanted=0)
    assert not one.guard.warnings & codes.WARN_FAN or not wrong
