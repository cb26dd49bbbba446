"""What the guard makes of its doubts: what it asks, what it slows, what it trips on."""

import pytest

from emberbed_fw import trip_codes as codes
from emberbed_fw.doubts import TOUCHING_PROMPT, VOUCHED, Facts
from emberbed_fw.safety_limits import (
    AIR_SETTLE_TICKS,
    ANSWER_TICKS,
    BALANCE_TICKS,
    BALANCE_TRIP_MK,
    BALANCE_WARN_MK,
    BEHIND_CDEG,
    BEHIND_TICKS,
    COLD_APART_CDEG,
    COLD_START_CDEG,
    COLD_TICKS,
    COMING_ROOM_CDEG,
    COMING_TICKS,
    LEAST_COLD_CDEG,
    MOST_COLD_CDEG,
    START_ANY_BOARD_S,
    START_RISE_CDEG,
    START_S,
    STUCK_ALONE_TICKS,
)
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.doubted import GUESSED, LIMIT_CDEG, MODEL, NO_MODEL, Doubted

TRUSTED_OR_NOT = pytest.mark.parametrize("model", [MODEL, GUESSED], ids=["identified", "guessed"])


def still(model=MODEL):
    return Doubted(**model).keep_balance()


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


# A start.


@pytest.mark.parametrize(("spent_j", "risen", "asks"), [
    (1399, 0, 0), (1400, START_RISE_CDEG - 1, 1), (1400, START_RISE_CDEG, 0), (9000, 0, 1),
])  # fmt: skip
@pytest.mark.check("C26", proves="quiet")
def test_a_budget_of_heat_that_warms_nothing_is_asked_about(spent_j, risen, asks):
    one = still()
    one.doubts.balance.net_j = spent_j
    one.doubts.balance.risen_cdeg = risen
    assert one.tick() == asks * codes.WITHHELD_ASKS
    assert one.doubts.asks == asks


@pytest.mark.parametrize(("budget_j", "asks"), [(0, 0), (1, 1)])
def test_a_plan_without_a_budget_is_not_asked_about_for_it(budget_j, asks):
    one = still({**MODEL, "start_budget_j": budget_j})
    one.doubts.balance.net_j = 90000
    assert one.tick() == asks * codes.WITHHELD_ASKS


def asked(model=MODEL):
    one = still(model)
    one.doubts.balance.net_j = 1400
    one.tick()
    assert one.doubts.asks
    return one


def test_an_identified_heater_is_asked_about_once_and_then_trips():
    one = asked()
    one.facts.acknowledged = TOUCHING_PROMPT
    one.tick()
    assert one.doubts.balance.net_j == 0
    one.tick(10)
    one.doubts.balance.net_j = 1400
    assert one.tick() == codes.WITHHELD_ASKS
    assert one.doubts.trip == codes.NO_RISE and not one.doubts.asks


def test_no_answer_in_a_minute_trips():
    one = asked()
    assert one.until_trip() == ANSWER_TICKS
    assert one.doubts.trip == codes.NO_RISE and one.withheld & codes.WITHHELD_ASKS


@pytest.mark.parametrize("answer", [NONE, 0, 7, 251, 252])
def test_another_answer_is_none(answer):
    one = asked()
    one.facts.acknowledged = answer
    assert one.tick() == codes.WITHHELD_ASKS
    assert one.doubts.asks


def test_the_question_ends_with_the_heating():
    one = asked()
    one.facts.heats = False
    assert one.tick() == 0
    assert one.doubts.prompt() == NONE


@pytest.mark.parametrize(
    ("model", "seconds"),
    [
        (NO_MODEL, START_S),
        ({**NO_MODEL, "least_capacity_j_per_k": 1}, START_S),
        ({"peak_cdeg": 9000}, START_ANY_BOARD_S),
    ],
)
@pytest.mark.parametrize("watts", [1, 1000])
def test_without_a_model_full_power_for_so_long_is_asked_about(model, seconds, watts):
    one = Doubted(**model)
    one.readings.cdeg[:2] = [2500, 2500]
    one.facts.driven_w = watts
    assert one.tick(seconds * 10 - 1) == 0
    assert one.tick() == codes.WITHHELD_ASKS and one.doubts.asks
    one.facts.acknowledged = TOUCHING_PROMPT
    one.tick()
    assert one.until_trip() == seconds * 10
    assert one.doubts.trip == codes.NO_RISE


def test_without_a_model_only_driven_ticks_count_and_a_warm_sensor_ends_it():
    one = Doubted(**NO_MODEL)
    one.readings.cdeg[:2] = [2500, 2500]
    for tick in range(START_S * 20 - 4):
        one.facts.driven_w = 1000 * (tick % 2)
        assert one.tick() == 0
    one.facts.driven_w = 1000
    one.readings.cdeg[0] = 2500 + COLD_START_CDEG
    one.live_cdeg = 0
    assert one.tick(START_S * 10 + 10) == 0
    one.readings.cdeg[0] = 2500 + COLD_START_CDEG - 1
    assert one.tick(START_S * 10 - 1) == 0
    assert one.tick() == codes.WITHHELD_ASKS


def test_a_guessed_heater_that_a_person_vouched_for_has_no_budget_any_more():
    one = asked(GUESSED)
    one.facts.acknowledged = TOUCHING_PROMPT
    one.tick()
    one.doubts.balance.net_j = 90000
    assert one.tick(200) == 0


# A control sensor that stays behind the rest of the board.


@pytest.mark.parametrize(("ahead", "asks"), [(BEHIND_CDEG, 0), (BEHIND_CDEG + 1, 1)])
def test_a_control_sensor_far_behind_another_is_asked_about(ahead, asks):
    one = Doubted(**NO_MODEL)
    one.live_cdeg = 0
    one.readings.cdeg[:2] = [5000, 5000 + ahead]
    assert one.tick(BEHIND_TICKS - 1) == 0
    assert one.tick() == asks * codes.WITHHELD_ASKS


def test_an_answer_gives_it_a_minute_to_come_nearer():
    one = Doubted(**NO_MODEL)
    one.readings.cdeg[:2] = [5000, 9000]
    one.tick(BEHIND_TICKS)
    one.facts.acknowledged = TOUCHING_PROMPT
    one.tick()
    taken = one.until_trip()
    assert ANSWER_TICKS < taken <= ANSWER_TICKS + BEHIND_TICKS
    assert one.doubts.trip == codes.NO_RISE


def test_a_control_sensor_without_a_reading_is_not_behind():
    one = Doubted(**NO_MODEL)
    one.readings.cdeg[:2] = [NO_READING_CDEG, 9000]
    one.live_cdeg = 0
    assert one.tick(BEHIND_TICKS * 3) == 0


def test_hands_and_air_excuse_a_sensor_that_stays_behind():
    one = Doubted(**NO_MODEL)
    one.readings.cdeg[:2] = [5000, 9000]
    one.facts.air = True
    one.tick(BEHIND_TICKS * 2)
    one.facts.air = False
    assert one.tick(AIR_SETTLE_TICKS - 1 + BEHIND_TICKS - 1) == 0
    assert one.tick() == codes.WITHHELD_ASKS


# Heat that is on its way.


@TRUSTED_OR_NOT
@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("coast", [0, 1500])
@pytest.mark.parametrize(("room", "withheld", "trips"), [
    (COMING_ROOM_CDEG, 0, False), (COMING_ROOM_CDEG - 1, codes.WITHHELD_COMING, False),
    (0, codes.WITHHELD_COMING, False), (-1, codes.WITHHELD_COMING, True),
])  # fmt: skip
@pytest.mark.check("C25", proves="quiet")
def test_predicted_peak(model, channel, coast, room, withheld, trips):
    one = still(model)
    one.live_cdeg = 0
    one.readings.cdeg[:2] = [10000, 10000]
    one.readings.cdeg[channel] = LIMIT_CDEG - coast - room
    one.doubts.balance.coast_cdeg = coast
    assert one.tick() == withheld
    for _ in range(COMING_TICKS - 2):
        one.tick()
        assert one.doubts.trip == codes.NO_TRIP
    one.tick()
    trips = trips and model["model_trust"] == 1
    assert one.doubts.trip == (codes.PREDICTED_PEAK if trips else codes.NO_TRIP)


@pytest.mark.parametrize("gone_coast", [900, 0])  # too near the limit yet, and far below it
def test_a_predicted_peak_that_goes_again_counts_from_nothing(gone_coast):
    one = still()
    one.live_cdeg = 0
    one.readings.cdeg[0] = 11000
    for _ in range(5):
        one.doubts.balance.coast_cdeg = 2000
        one.tick(COMING_TICKS - 1)
        assert one.doubts.trip == codes.NO_TRIP
        one.doubts.balance.coast_cdeg = gone_coast
        one.tick()


def test_only_readings_of_the_board_are_predicted():
    one = still()
    one.readings.cdeg[:2] = [NO_READING_CDEG, NO_READING_CDEG]
    one.live_cdeg = 0
    one.doubts.balance.coast_cdeg = 5000
    assert one.tick() == 0


def test_a_channel_that_tells_nothing_of_the_board_predicts_nothing():
    one = still()
    assert not one.plan.tells_spread[2]
    one.readings.cdeg[2] = LIMIT_CDEG + 5000
    assert one.tick(COMING_TICKS) == 0 and one.doubts.trip == codes.NO_TRIP


def test_without_a_model_nothing_is_predicted():
    one = Doubted(**NO_MODEL)
    one.doubts.balance.coast_cdeg = 9000
    one.missing(BALANCE_TRIP_MK)
    one.surplus(BALANCE_TRIP_MK)
    assert one.tick(30) == 0
    assert (one.doubts.trip, one.doubts.warnings) == (codes.NO_TRIP, 0)


# Cold junctions.


@pytest.mark.parametrize(("cold", "fine"), [
    ((2500, 2500), True), ((LEAST_COLD_CDEG, LEAST_COLD_CDEG), True),
    ((LEAST_COLD_CDEG - 1, LEAST_COLD_CDEG), False), ((MOST_COLD_CDEG, MOST_COLD_CDEG), True),
    ((MOST_COLD_CDEG + 1, MOST_COLD_CDEG), False), ((2500, 2500 + COLD_APART_CDEG), True),
    ((2500, 2501 + COLD_APART_CDEG), False), ((2501 + COLD_APART_CDEG, 2500), False),
])  # fmt: skip
@pytest.mark.check("C32", proves="quiet")
def test_cold_junctions(cold, fine):
    one = Doubted(**NO_MODEL)
    one.readings.cold_cdeg[:2] = cold
    assert one.tick() == (0 if fine else codes.WITHHELD_SENSOR)
    one.tick(COLD_TICKS - 2)
    assert one.doubts.trip == codes.NO_TRIP and (one.doubts.cold_ticks == 0) is fine
    one.tick()
    assert one.doubts.trip == (codes.NO_TRIP if fine else codes.COLD_JUNCTION)


def test_cold_junctions_that_are_well_again_count_from_nothing():
    one = Doubted(**NO_MODEL)
    for _ in range(3):
        one.readings.cold_cdeg[0] = 9000
        one.tick(COLD_TICKS - 1)
        one.readings.cold_cdeg[0] = 2500
        one.tick()
    assert one.doubts.trip == codes.NO_TRIP


def test_only_fitted_channels_with_a_reading_have_a_cold_junction():
    one = Doubted(**NO_MODEL)
    one.readings.cold_cdeg[2] = 12000
    one.readings.cold_cdeg[1] = 12000
    one.readings.cdeg[1] = NO_READING_CDEG
    assert one.tick() == 0


# The other watches, as far as they end the heating.


def test_jumps_withhold_and_trip_and_say_nothing_to_the_balance():
    one = Doubted()
    one.live_cdeg = 0
    one.tick()
    seen = []
    for tick in range(11):
        one.readings.cdeg[0] = 8000 + 5000 * (tick % 2)
        seen.append(one.tick() & codes.WITHHELD_DISTURBED)
        assert one.doubts.balance.surplus_q6 == 0
    assert all(seen[1:]) and one.doubts.trip == codes.READING_JUMPS


@pytest.mark.parametrize("name", ["air", "lifting"])
def test_jumps_are_excused_under_hands_and_air(name):
    one = Doubted()
    setattr(one.facts, name, 1)
    for tick in range(20):
        one.readings.cdeg[0] = 8000 + 5000 * (tick % 2)
        assert not one.tick() & codes.WITHHELD_DISTURBED


def test_a_pair_that_disagrees_withholds_and_trips_after_five_seconds():
    one = Doubted(**NO_MODEL, role1=6, partner1=0)
    one.readings.cdeg[:2] = [8000, 6000]
    assert one.tick(49) == codes.WITHHELD_APART and one.doubts.trip == codes.NO_TRIP
    one.tick()
    assert one.doubts.trip == codes.SENSORS_DISAGREE


def test_a_bead_that_is_seen_lifting_tells_nothing_of_its_partner():
    one = Doubted(**NO_MODEL, role1=6, partner1=0)
    one.readings.cdeg[:2] = [8000, 6000]
    one.facts.lifting = 2
    one.tick(90)
    assert one.doubts.trip == codes.NO_TRIP and one.doubts.pairs.apart == 0
    one.facts.lifting = 0
    one.tick(50)
    assert one.doubts.trip == codes.SENSORS_DISAGREE


def test_a_reading_that_stands_still_trips_where_the_board_must_move():
    one = Doubted()
    one.live_cdeg = 0
    one.doubts.balance.model.emitter_mk = 650000
    assert 100 <= one.until_trip(400) <= 110
    assert one.doubts.trip == codes.READING_STUCK


@pytest.mark.parametrize(("joules", "trip"), [(1, codes.READING_STUCK), (0, codes.NO_TRIP)])
def test_a_reading_that_never_moves_trips_where_the_heater_has_a_model(joules, trip):
    one = still({**MODEL, "emitter_j_per_k": joules})
    one.live_cdeg = 0
    one.readings.cdeg[:2] = [3500, 3500]
    taken = one.until_trip(STUCK_ALONE_TICKS + 10)
    assert one.doubts.trip == trip
    assert taken == (STUCK_ALONE_TICKS + 1 if trip else None)


def test_arming_begins_anew():
    one = asked()
    one.readings.cdeg[:2] = [8000, 12000]
    one.facts.acknowledged = TOUCHING_PROMPT
    one.missing(BALANCE_TRIP_MK)
    one.tick(15)
    one.doubts.pairs.apart = one.doubts.jumps.score = 7
    one.doubts.stuck._same_ticks[1] = one.doubts.balance.coast_cdeg = 7
    fresh = Doubted().doubts
    one.doubts.clear()
    assert [getattr(one.doubts, name) for name in one.doubts.STATE] == [
        getattr(fresh, name) for name in fresh.STATE
    ]
    for part in ("balance", "pairs", "jumps", "stuck"):
        left, begun = getattr(one.doubts, part), getattr(fresh, part)
        assert [getattr(left, name) for name in left.STATE] == [
            getattr(begun, name) for name in begun.STATE
        ]
