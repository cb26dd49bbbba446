"""What the guard makes of heat that is missing or too much: it tells, slows, asks, trips."""

import pytest

from emberbed_fw import trip_codes as codes
from emberbed_fw.doubts import TOUCHING_PROMPT, VOUCHED, Facts
from emberbed_fw.safety_limits import (
    AIR_SETTLE_TICKS,
    BALANCE_TICKS,
    BALANCE_TRIP_MK,
    BALANCE_WARN_MK,
    COMING_TICKS,
    MOST_COLD_CDEG,
)
from emberbed_fw.units import NONE
from tests.support.doubted import (
    GUESSED,
    MODEL,
    TRUSTED_OR_NOT,
    Doubted,
    still,
)


def test_healthy_bench_gives_no_doubt():
    one = still()
    assert one.tick(700) == 0
    said = one.doubts
    assert (said.trip, said.warnings, said.slows, said.prompt()) == (codes.NO_TRIP, 0, 0, NONE)


def test_it_begins_with_nothing_said_and_nothing_counted():
    fresh = Doubted().doubts
    assert {name: getattr(fresh, name) for name in fresh.STATE} == dict.fromkeys(fresh.STATE, 0)
    assert codes.NO_TRIP == 0


def test_facts_begin_with_a_bench_at_rest():
    assert vars(Facts()) == {
        "tick": 0, "heats": False, "staged": False, "holds": False, "air": False, "lifting": 0,
        "driven_w": 0, "sees_current": False, "acknowledged": NONE,
    }  # fmt: skip


# Rise that is missing.


@TRUSTED_OR_NOT
@pytest.mark.parametrize(("mk", "warns"), [(BALANCE_WARN_MK - 1, 0), (BALANCE_WARN_MK, 1)])
def test_missing_rise_is_told_and_slows_the_plan(model, mk, warns):
    one = still(model)
    one.missing(mk)
    assert one.tick() == 0
    assert (one.doubts.slows, one.doubts.warnings) == (warns, warns * codes.WARN_MISSING)


@pytest.mark.check("C27", proves="quiet")
@pytest.mark.parametrize(
    ("mk", "ticks"), [(BALANCE_TRIP_MK - 1, None), (BALANCE_TRIP_MK, BALANCE_TICKS)]
)
def test_missing_rise_of_an_identified_heater_trips_after_two_seconds(mk, ticks):
    one = still()
    one.missing(mk)
    assert one.until_trip(100) == ticks
    assert one.doubts.trip == (codes.HEAT_NOT_ARRIVING if ticks else codes.NO_TRIP)


def test_missing_rise_that_comes_back_counts_from_nothing():
    one = still()
    for _ in range(5):
        one.missing(BALANCE_TRIP_MK)
        one.tick(BALANCE_TICKS - 1)
        assert one.doubts.trip == codes.NO_TRIP
        one.missing(0)
        one.tick()


def test_the_lightest_emitter_is_a_model_and_none_is_not():
    for joules, warns in ((1, codes.WARN_MISSING), (0, 0)):
        one = still({**MODEL, "emitter_j_per_k": joules})
        one.missing(BALANCE_WARN_MK)
        one.tick()
        assert one.doubts.warnings == warns


def test_what_has_gone_is_not_said_any_more():
    one = still()
    one.missing(BALANCE_TRIP_MK)
    assert one.until_trip() == BALANCE_TICKS
    assert one.doubts.warnings == codes.WARN_MISSING and one.doubts.slows
    one.missing(0)
    one.tick()
    assert (one.doubts.trip, one.doubts.warnings, one.doubts.slows) == (codes.NO_TRIP, 0, 0)


def test_missing_rise_of_a_guessed_heater_asks_and_never_trips_by_itself():
    one = still(GUESSED)
    one.missing(BALANCE_TRIP_MK)
    one.tick(BALANCE_TICKS)
    assert one.doubts.asks == 0
    assert one.tick() & codes.WITHHELD_ASKS and one.doubts.prompt() == TOUCHING_PROMPT
    one.facts.acknowledged = TOUCHING_PROMPT
    assert one.tick() == codes.WITHHELD_ASKS and one.doubts.prompt() == NONE
    assert one.tick() == 0 and one.doubts.balance.missing_q6 == 0
    assert VOUCHED == 4
    one.missing(VOUCHED * BALANCE_TRIP_MK - 1)
    one.tick(700)
    assert (one.doubts.trip, one.doubts.asks) == (codes.NO_TRIP, 0), "a person says it touches"
    one.missing(VOUCHED * BALANCE_TRIP_MK)
    one.tick()
    assert one.doubts.trip == codes.NO_RISE, "and so much contradicts even that"


# Hands and hot air.


@pytest.mark.parametrize("name", ["air", "lifting"])
def test_hands_and_air_excuse_what_is_missing_for_half_a_minute_after(name):
    one = still()
    setattr(one.facts, name, 1)
    one.missing(BALANCE_TRIP_MK)
    one.surplus(BALANCE_TRIP_MK)
    one.tick()
    assert (one.doubts.balance.missing_q6, one.doubts.balance.surplus_q6) == (0, 0)
    setattr(one.facts, name, 0)
    for _ in range(AIR_SETTLE_TICKS - 1):
        one.missing(BALANCE_TRIP_MK)
        one.tick()
        assert one.doubts.balance.missing_q6 == 0
    one.missing(BALANCE_TRIP_MK)
    one.tick()
    assert one.doubts.balance.missing_q6 > 0


def test_after_the_air_a_surplus_counts_at_once():
    one = still()
    one.facts.air = True
    one.tick()
    one.facts.air = False
    one.surplus(BALANCE_TRIP_MK)
    one.tick()
    assert one.doubts.trip == codes.HEAT_SURPLUS


def test_without_heating_nothing_can_be_missing_and_nothing_trips():
    one = still()
    one.facts.heats = False
    one.missing(BALANCE_TRIP_MK)
    one.surplus(BALANCE_TRIP_MK)
    one.readings.cold_cdeg = [MOST_COLD_CDEG + 1] * 8
    one.tick(60)
    assert one.doubts.trip == codes.NO_TRIP and one.doubts.balance.missing_q6 == 0
    assert one.doubts.warnings == codes.WARN_SURPLUS


# Rise that nobody sent.


@pytest.mark.check("C28", proves="quiet")
@TRUSTED_OR_NOT
@pytest.mark.parametrize("senses", [False, True])
@pytest.mark.parametrize("mk", [0, BALANCE_WARN_MK - 1, BALANCE_WARN_MK, BALANCE_TRIP_MK - 1,
                                BALANCE_TRIP_MK])  # fmt: skip
def test_surplus(model, senses, mk):
    one = still(model)
    one.facts.sees_current = senses
    one.surplus(mk)
    withheld = one.tick()
    told = mk >= BALANCE_WARN_MK
    assert one.doubts.warnings == (codes.WARN_SURPLUS if told else 0)
    assert one.doubts.slows == (1 if told else 0)
    # where current is sensed, no switch is stuck: it is hot air that nobody announced
    assert withheld == (codes.WITHHELD_SURPLUS if told and senses else 0)
    trips = mk >= BALANCE_TRIP_MK and not senses and model["model_trust"] == 1
    assert one.doubts.trip == (codes.HEAT_SURPLUS if trips else codes.NO_TRIP)


def test_a_proof_gets_its_pulse_although_the_board_is_warmed_from_above():
    one = still()
    one.facts.sees_current, one.facts.staged = True, False
    one.surplus(BALANCE_TRIP_MK)
    assert one.tick() == 0 and one.doubts.warnings == codes.WARN_SURPLUS


@pytest.mark.parametrize("name", ["air", "lifting"])
def test_a_bead_that_fell_or_lies_in_a_jet_predicts_no_peak(name):
    one = still()
    setattr(one.facts, name, 1)
    one.doubts.balance.coast_cdeg = 9000
    assert one.tick(COMING_TICKS * 3) == codes.WITHHELD_COMING
    assert one.doubts.trip == codes.NO_TRIP


def test_unannounced_air_excuses_what_is_missing_when_it_goes():
    one = still()
    one.facts.sees_current = True
    one.surplus(BALANCE_WARN_MK)
    one.tick()
    one.surplus(0)
    one.missing(BALANCE_TRIP_MK)
    one.tick()
    assert one.doubts.balance.missing_q6 == 0
