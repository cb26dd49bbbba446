"""Damaged frames, tick by tick: eleven within a minute make the link bad until a clean one."""

import pytest

from emberbed_fw.damage_watch import DamageWatch
from emberbed_fw.messages import MAX_DAMAGED_PER_MIN
from emberbed_fw.units import TICKS_PER_MIN

TOO_MANY = MAX_DAMAGED_PER_MIN + 1


class Counted:
    """A watch and the reader's count of damaged frames, which only grows."""

    def __init__(self):
        self.watch = DamageWatch()
        self._damaged = 0

    def step(self, tick, damaged=0):
        """Take a tick in which so many frames came damaged; tell whether the link is bad."""
        self._damaged += damaged
        self.watch.step(tick, self._damaged)
        return self.watch.is_bad()

    def steps(self, first, last):
        """Take clean ticks; return whether the link was bad after each."""
        return [self.step(tick) for tick in range(first, last + 1)]


def test_a_minute_has_600_ticks_and_bears_ten():
    assert (TICKS_PER_MIN, MAX_DAMAGED_PER_MIN) == (600, 10)


def test_link_begins_good():
    counted = Counted()
    assert not counted.watch.is_bad()
    assert not any(counted.steps(1, 700))


@pytest.mark.parametrize("tick", [0, 1, 2, 5000])
def test_ten_at_once_are_borne_and_eleven_are_not(tick):
    assert Counted().step(tick, MAX_DAMAGED_PER_MIN) is False
    assert Counted().step(tick, TOO_MANY) is True
    assert Counted().step(tick, 1000) is True


@pytest.mark.parametrize(("apart", "bad"), [(599, True), (600, False), (601, False)])
@pytest.mark.parametrize("first", [1, 3, 777])
def test_the_eleventh_counts_within_a_minute_of_the_first(first, apart, bad):
    counted = Counted()
    assert not counted.step(first)
    assert not counted.step(first + 1, 1)
    assert not counted.step(first + 2, MAX_DAMAGED_PER_MIN - 1)
    assert not any(counted.steps(first + 3, first + apart))
    assert counted.step(first + 1 + apart, 1) is bad


def test_each_damaged_frame_is_counted_once():
    """What the reader has counted stands; only what is added to it counts."""
    counted = Counted()
    counted.step(1, MAX_DAMAGED_PER_MIN)
    assert not any(counted.steps(2, 100))


def test_link_is_good_again_after_600_clean_ticks():
    counted = Counted()
    counted.step(10, TOO_MANY)
    bad = counted.steps(11, 10 + TICKS_PER_MIN)
    assert bad == [True] * (TICKS_PER_MIN - 1) + [False]
    assert not any(counted.steps(611, 1300))


def test_a_single_one_in_that_minute_starts_it_again():
    counted = Counted()
    counted.step(10, TOO_MANY)
    assert all(counted.steps(11, 608))
    assert counted.step(609, 1)
    assert counted.steps(610, 1209) == [True] * (TICKS_PER_MIN - 1) + [False]


def test_a_single_one_after_that_minute_is_borne():
    counted = Counted()
    counted.step(10, TOO_MANY)
    counted.steps(11, 610)
    assert counted.step(611, 1) is False


def test_one_each_minute_and_a_bit_is_borne_for_ever():
    counted = Counted()
    assert not any(counted.step(tick, 1) for tick in range(0, 6000, 60))


def test_one_a_little_more_often_is_not():
    """One in 59 ticks: the eleventh comes 590 ticks after the first."""
    counted = Counted()
    bad = [counted.step(tick, 1) for tick in range(100, 100 + 59 * 11, 59)]
    assert bad == [False] * 10 + [True]
