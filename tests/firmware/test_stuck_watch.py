"""A reading that stands still: only where the board must have moved meanwhile is it stuck."""

import pytest

from emberbed_fw.safety_limits import STUCK_ALONE_TICKS, STUCK_MOVED_MK, STUCK_TICKS
from emberbed_fw.stuck_watch import Q, StuckWatch
from emberbed_fw.units import CHANNELS, NO_READING_CDEG
from tests.support.judged import Fed

BOTH = [True, True] + [False] * (CHANNELS - 2)
ENOUGH = (STUCK_MOVED_MK << Q) // STUCK_TICKS  # a tick of it


def stuck_after(must_q6, course=(8000,) * 400, watched=BOTH, watch=None):
    """Return after how many ticks the first channel counts as stuck, None if never. The second
    one's last bit moves, as a live converter's does."""
    watch = watch or StuckWatch()
    for tick, cdeg in enumerate(course):
        if watch.step(Fed(cdeg, 8000 + tick % 2 * 25), watched, must_q6):
            return tick
    return None


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("must", "ticks"), [(ENOUGH, STUCK_TICKS), (10 * ENOUGH, STUCK_TICKS), (ENOUGH // 2, 200)]
)
def test_it_takes_ten_seconds_and_a_kelvin(sign, must, ticks):
    assert stuck_after(sign * must) == pytest.approx(ticks, abs=1)


def test_a_board_that_need_not_move_may_stand_still_for_a_while_but_not_for_ever():
    # the quietest of measured inputs repeated 637 codes of 0.25 degC by chance in 11 days
    assert stuck_after(0, (8000,) * 3000) == STUCK_ALONE_TICKS > 637
    live = [8000 + 25 * (tick // STUCK_ALONE_TICKS % 2) for tick in range(4000)]
    assert stuck_after(0, live) is None


@pytest.mark.check("C29", proves="quiet")
def test_the_last_bit_that_moves_once_in_ten_seconds_is_enough():
    live = [8000 + 25 * (tick // STUCK_TICKS % 2) for tick in range(1000)]
    assert stuck_after(10 * ENOUGH, live) is None
    slower = [8000 + 25 * (tick // (STUCK_TICKS + 1) % 2) for tick in range(1000)]
    assert stuck_after(10 * ENOUGH, slower) == STUCK_TICKS


def test_up_and_down_cancel():
    watch = StuckWatch()
    for tick in range(400):
        assert not watch.step(Fed(8000, 8000), BOTH, ENOUGH if tick % 2 else -ENOUGH), tick


def test_every_watched_channel_is_looked_at_and_no_other():
    for channel in range(2):
        watched = [number == channel for number in range(CHANNELS)]
        watch = StuckWatch()
        still = [Fed(8000, 8000 + tick % 2) for tick in range(150)]
        seen = [watch.step(one, watched, 2 * ENOUGH) for one in still]
        assert any(seen) is (channel == 0)


def test_no_reading_is_not_a_stuck_one():
    assert stuck_after(2 * ENOUGH, (NO_READING_CDEG,) * 300) is None


def test_forgetting_begins_anew():
    watch = StuckWatch()
    stuck_after(1 << 24, watch=watch)
    fresh = StuckWatch()
    assert [getattr(watch, name) for name in watch.STATE] != [
        getattr(fresh, name) for name in fresh.STATE
    ]
    watch.forget()
    for name in watch.STATE:
        assert getattr(watch, name) == getattr(fresh, name)
    assert (fresh._same_ticks, fresh._must_q6) == ([0] * CHANNELS, [0] * CHANNELS)
    assert fresh._last_cdeg == [NO_READING_CDEG] * CHANNELS


@pytest.mark.parametrize(("short", "stuck"), [(1, None), (0, STUCK_TICKS)])
def test_a_kelvin_is_enough_and_less_is_not(short, stuck):
    """All of it in the first of the equal ticks."""
    watch = StuckWatch()
    watch.step(Fed(8000, 8000), BOTH, 0)
    must = (STUCK_MOVED_MK << Q) - short
    seen = [watch.step(Fed(8000, 8000 + tick % 2), BOTH, 0 if tick else must)
            for tick in range(STUCK_TICKS + 5)]  # fmt: skip
    assert (seen.index(True) + 1 if any(seen) else None) == stuck


def test_a_reading_that_moves_takes_the_sum_back():
    watch = StuckWatch()
    for tick in range(STUCK_TICKS):
        watch.step(Fed(8000, 8000 + tick % 2), BOTH, ENOUGH)
    watch.step(Fed(8025, 8000), BOTH, ENOUGH)
    assert (watch._must_q6[0], watch._same_ticks[0]) == (0, 0)


def test_largest_sum_is_bounded():
    for sign in (1, -1):
        watch = StuckWatch()
        for _ in range(3):
            watch.step(Fed(8000, 8000), BOTH, sign << 24)
        assert watch._must_q6[0] == sign * (100 * STUCK_MOVED_MK << Q)
