"""What the guard asks while a board warms up: does the sensor touch, does it stay behind?"""

import pytest

from emberbed_fw import trip_codes as codes
from emberbed_fw.doubts import TOUCHING_PROMPT
from emberbed_fw.safety_limits import (
    AIR_SETTLE_TICKS,
    ANSWER_TICKS,
    BEHIND_CDEG,
    BEHIND_TICKS,
    COLD_START_CDEG,
    START_ANY_BOARD_S,
    START_RISE_CDEG,
    START_S,
)
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.doubted import (
    GUESSED,
    MODEL,
    NO_MODEL,
    Doubted,
    asked,
    still,
)

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
