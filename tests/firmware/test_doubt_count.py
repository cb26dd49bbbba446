"""Heat kept away by doubts, counted: how they add up, run down, and when it is enough."""

import pytest

from emberbed_fw.doubt_count import DoubtCount
from emberbed_fw.safety_limits import BAD_READING_TICKS, DOUBT_TICKS


def counted(*ticks):
    """Return a count that has had ticks (bad reading, doubted)."""
    count = DoubtCount()
    for bad_reading, doubted in ticks:
        count.step(bad_reading, doubted)
    return count


def test_it_begins_at_nothing_and_stays_there_without_doubt():
    assert DoubtCount().ticks == 0
    assert counted((0, 0), (False, 0)).ticks == 0


def test_a_doubted_tick_counts_once_and_a_bad_reading_more():
    assert 1 < BAD_READING_TICKS < DOUBT_TICKS
    assert counted((0, 64)).ticks == 1
    assert counted((1, 0)).ticks == BAD_READING_TICKS == counted((True, 64)).ticks


def test_ticks_without_doubt_count_down_again():
    count = counted((1, 0), (0, 1))
    for left in range(BAD_READING_TICKS, -1, -1):
        count.step(0, 0)
        assert count.ticks == left
    count.step(0, 0)
    assert count.ticks == 0


@pytest.mark.parametrize(("bad_reading", "each"), [(0, 1), (1, BAD_READING_TICKS)])
def test_it_is_enough_after_so_many(bad_reading, each):
    count = DoubtCount()
    taken = 0
    while not count.overdue():
        assert count.ticks == taken * each < DOUBT_TICKS
        count.step(bad_reading, 1)
        taken += 1
    assert taken == -(-DOUBT_TICKS // each)
    assert count.ticks == DOUBT_TICKS


def test_it_goes_no_further_than_enough():
    count = DoubtCount()
    for _ in range(DOUBT_TICKS + 50):
        count.step(0, 1)
    assert count.ticks == DOUBT_TICKS and count.overdue()
    count.step(1, 0)
    assert count.ticks == DOUBT_TICKS
    count.step(0, 0)
    assert count.ticks == DOUBT_TICKS - 1 and not count.overdue()


def test_forgotten_it_begins_anew():
    count = counted((1, 0))
    count.forget()
    assert count.ticks == 0
