"""Heat that doubts keep away, as the judge counts it; and air that nobody announced."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import (
    AIR_SETTLE_TICKS,
    BAD_READING_TICKS,
    BALANCE_WARN_MK,
    DOUBT_TICKS,
)
from tests.support.doubted import still
from tests.support.judged import Judged


def doubting(bits):
    """Return a guard whose doubts give these bits in every tick, and nothing else."""
    one = Judged()
    one.guard.doubts.judge = lambda *_arguments: bits
    return one


@pytest.mark.parametrize(
    ("bits", "counts"),
    [
        (0, 0), (trip_codes.WITHHELD_LIFTED, 1), (trip_codes.WITHHELD_DISTURBED, 1),
        (trip_codes.WITHHELD_LIFTED | trip_codes.WITHHELD_DISTURBED, 1),
        (trip_codes.WITHHELD_APART, 0), (trip_codes.WITHHELD_ASKS, 0),
        (trip_codes.WITHHELD_COMING, 0), (trip_codes.WITHHELD_SURPLUS, 0),
    ],
)  # fmt: skip
def test_a_bead_that_lifts_and_one_that_jumps_are_doubted(bits, counts):
    one = doubting(bits)
    one.tick(7)
    assert one.guard.doubted.ticks == 7 * counts


def test_a_bad_reading_counts_for_more():
    one = doubting(0)
    one.readings.fault[0] = trip_codes.SENSOR_OPEN
    one.tick()
    assert one.guard.doubted.ticks == BAD_READING_TICKS


def test_without_heat_nothing_is_kept_away():
    one = doubting(trip_codes.WITHHELD_DISTURBED)
    one.guard.doubted.ticks = DOUBT_TICKS
    one.state, one.outputs = rs.COOL, 0
    one.guard.note_outputs(0, 0)
    one.readings.fault[0] = trip_codes.SENSOR_OPEN
    one.tick()
    assert one.guard.doubted.ticks == DOUBT_TICKS - 1 and one.trip == trip_codes.NO_TRIP


def test_enough_of_it_trips_and_stays():
    one = doubting(trip_codes.WITHHELD_DISTURBED)
    one.tick(DOUBT_TICKS - 1)
    assert one.trip == trip_codes.NO_TRIP
    assert one.tick() == 0 and one.trip == trip_codes.READING_JUMPS
    assert one.withheld & trip_codes.WITHHELD_TRIP


def test_it_is_not_a_trip_where_nothing_heats():
    one = doubting(0)
    one.guard.doubted.step = lambda *_arguments: None
    one.guard.doubted.ticks = DOUBT_TICKS
    one.state, one.outputs = rs.COOL, 0
    one.guard.note_outputs(0, 0)
    one.tick()
    assert one.trip == trip_codes.NO_TRIP


def test_arming_forgets_what_was_counted():
    one = doubting(trip_codes.WITHHELD_LIFTED)
    one.tick(9)
    one.guard.clear()
    assert one.guard.doubted.ticks == 0


# Hot air that nobody has announced: told by its surplus where a sense sees the current.


def blown(score=0, sees_current=True):
    one = still()
    one.facts.sees_current = sees_current
    one.doubts.jumps.score = score
    one.surplus(BALANCE_WARN_MK)
    one.tick()
    return one


@pytest.mark.parametrize(
    ("score", "sees_current", "ticks"),
    [(0, True, AIR_SETTLE_TICKS), (50, True, 0), (0, False, 0)],
)
def test_surplus_without_a_current_is_air_unless_a_reading_jumps(score, sees_current, ticks):
    assert blown(score, sees_current).doubts.blown_ticks == ticks


def test_unannounced_air_is_over_a_while_after_its_surplus():
    one = blown()
    one.surplus(0)
    for left in range(AIR_SETTLE_TICKS - 1, -1, -1):
        one.tick()
        assert one.doubts.blown_ticks == left
    one.tick()
    assert one.doubts.blown_ticks == 0


@pytest.mark.parametrize(("ticks", "air"), [(0, False), (1, True), (2, True)])
def test_beads_are_watched_as_under_air_while_it_lasts(ticks, air):
    one = Judged()
    seen = []
    one.guard.lift_watch.step = lambda _readings, watched, air: seen.append((watched, air))
    one.guard.doubts.blown_ticks = ticks
    one.tick()
    assert seen == [(one.plan.off_jet if air else one.plan.on_board, air)]
