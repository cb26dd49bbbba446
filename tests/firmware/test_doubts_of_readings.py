"""What the guard makes of a peak to come, cold junctions, jumps, pairs and still readings."""

import pytest

from emberbed_fw import trip_codes as codes
from emberbed_fw.doubts import TOUCHING_PROMPT
from emberbed_fw.safety_limits import (
    BALANCE_TRIP_MK,
    COLD_APART_CDEG,
    COLD_TICKS,
    COMING_ROOM_CDEG,
    COMING_TICKS,
    LEAST_COLD_CDEG,
    MOST_COLD_CDEG,
    STUCK_ALONE_TICKS,
)
from emberbed_fw.units import NO_READING_CDEG
from tests.support.doubted import (
    LIMIT_CDEG,
    MODEL,
    NO_MODEL,
    TRUSTED_OR_NOT,
    Doubted,
    asked,
    still,
)

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
