"""The button: released first, then held; a short press is a tap."""

import pytest

from emberbed_fw.button import MORE_TAPS_TICKS, Button
from emberbed_fw.safety_limits import PRESS_HELD_TICKS, PRESS_RELEASED_TICKS


def play(button, pattern):
    """Feed '1' for down and '0' for up; return what each tick gave: h held, t tap, . nothing."""
    seen = ""
    for sample in pattern:
        button.update(int(sample))
        seen += "h" if button.held else "t" if button.tapped else "."
    return seen


READY = "0" * PRESS_RELEASED_TICKS
HELD = "1" * PRESS_HELD_TICKS


def test_released_then_held_counts_once():
    seen = play(Button(), READY + HELD + "1" * 50)
    assert seen.count("h") == 1
    assert seen.index("h") == len(READY + HELD) - 1


def test_stuck_button_never_counts():
    assert play(Button(), "1" * 500) == "." * 500


def test_release_must_last():
    short = "0" * (PRESS_RELEASED_TICKS - 1)
    assert "h" not in play(Button(), short + HELD)
    assert "h" not in play(Button(), (short + HELD) * 5)


@pytest.mark.parametrize("ticks", [1, PRESS_HELD_TICKS - 1])
def test_short_press_is_a_tap_when_it_ends(ticks):
    seen = play(Button(), READY + "1" * ticks + "0")
    assert seen == "." * (len(READY) + ticks) + "t"


def test_long_press_is_no_tap():
    assert "t" not in play(Button(), READY + HELD + "000")


def test_tap_needs_a_release_before_it():
    assert "t" not in play(Button(), "1110")


def test_press_broken_by_a_release_starts_again():
    almost = "1" * (PRESS_HELD_TICKS - 1)
    assert "h" not in play(Button(), READY + almost + READY + almost)


def test_every_press_needs_its_own_release():
    # a contact that bounces at the end of a press must not count as a second one
    button = Button()
    play(button, READY + HELD)
    assert play(button, "0" + HELD) == "." * (1 + len(HELD))
    assert play(button, READY + HELD).endswith("h")


def test_bounce_after_a_tap_is_no_second_tap():
    seen = play(Button(), READY + "11" + "0" + "1" + "0" * 5)
    assert seen.count("t") == 1


# Counting taps.


def counted(pattern, button=None):
    """Feed a pattern; return how many taps were counted, with the tick in which they were."""
    button = button or Button()
    found = []
    for tick, sample in enumerate(pattern):
        button.update(int(sample))
        if button.taps:
            found.append((tick, button.taps))
    return found


TAP = "11" + "0" * PRESS_RELEASED_TICKS
QUIET = "0" * MORE_TAPS_TICKS


@pytest.mark.parametrize("taps", [1, 2, 3, 5])
def test_taps_are_counted_once_none_follows(taps):
    pattern = READY + TAP * taps + QUIET * 3
    ends = len(READY + TAP * taps) - PRESS_RELEASED_TICKS  # the tick in which the last one ends
    assert counted(pattern) == [(ends + MORE_TAPS_TICKS, taps)]


def test_tap_that_follows_in_the_last_moment_counts_with_the_first():
    slow = "11" + "0" * MORE_TAPS_TICKS
    assert [taps for _tick, taps in counted(READY + slow + TAP + QUIET)] == [2]
    slower = "11" + "0" * (MORE_TAPS_TICKS + 1)
    assert [taps for _tick, taps in counted(READY + slower + TAP + QUIET)] == [1, 1]


def test_held_button_is_no_tap_and_closes_no_count_early():
    assert counted(READY + HELD + QUIET) == []
    button = Button()
    found = counted(READY + TAP + HELD, button)
    assert found == [], "while it is down another tap may be on its way"
    assert [taps for _tick, taps in counted(QUIET, button)] == [1]


def test_understood_tap_is_not_counted_any_more():
    button = Button()
    assert counted(READY + TAP, button) == []
    button.forget_taps()
    assert counted(QUIET * 3, button) == []
    assert [taps for _tick, taps in counted(TAP + QUIET, button)] == [1]


def test_forget_asks_for_a_new_release():
    button = Button()
    play(button, READY)
    assert button.is_ready()
    button.forget()
    assert not button.is_ready()
    assert "h" not in play(button, HELD)


def test_forget_during_a_press_makes_it_count_for_nothing():
    button = Button()
    play(button, READY + HELD[:5])
    button.forget()
    assert play(button, HELD + "0") == "." * (len(HELD) + 1)
