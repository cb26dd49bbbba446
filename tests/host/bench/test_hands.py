"""Who answers and who stops: the script and the person at the keyboard."""

import os
import signal
import sys
from types import SimpleNamespace

import pytest

from emberbed.bench import hands
from emberbed.bench.hands import (
    SCRIPT_ANSWERS_AFTER_S,
    SETTLE_S,
    PersonAtKeyboard,
    ScriptedHand,
    StopSignal,
)
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S
from tests.support.tapes import rehearsed

RECORD = rehearsed().records[0]._replace(waits_for=rs.WAITS_NOTHING, prompt=NONE)


class Button:
    """Plays the virtual device."""

    def __init__(self):
        self.presses = 0

    def hold_button(self):
        self.presses += 1


class Typed:
    """Plays the keyboard: `keys` are read once."""

    def __init__(self):
        self.keys = ""

    def pressed(self):
        keys, self.keys = self.keys, ""
        return keys


@pytest.fixture
def clock(monkeypatch):
    """Return the seconds that the hands read as the time."""
    now = SimpleNamespace(s=100.0)
    monkeypatch.setattr(hands, "time", SimpleNamespace(monotonic=lambda: now.s))
    return now


@pytest.fixture
def person(clock):
    typed, button = Typed(), Button()
    hand = PersonAtKeyboard(typed, button, StopSignal())
    return SimpleNamespace(hand=hand, typed=typed, button=button, clock=clock)


def test_the_script_presses_once_and_again_only_when_that_was_not_heard():
    button = Button()
    hand = ScriptedHand(button, StopSignal())
    asked = RECORD._replace(waits_for=rs.WAITS_PRESS)
    for tick in range(100, 140):
        hand.answers(asked._replace(tick=tick))
    assert button.presses == 1
    hand.answers(asked._replace(tick=100 + 5 * TICKS_PER_S + 1))
    assert button.presses == 2


def test_the_script_does_not_press_unasked():
    button = Button()
    hand = ScriptedHand(button, StopSignal())
    hand.answers(RECORD)
    hand.answers(RECORD._replace(waits_for=rs.WAITS_SENSORS))
    assert button.presses == 0


def test_the_script_takes_the_time_of_the_work_for_each_prompt():
    hand = ScriptedHand(Button(), StopSignal())
    takes = round(SCRIPT_ANSWERS_AFTER_S * TICKS_PER_S)
    answers = [hand.answers(RECORD._replace(prompt=3, tick=tick)) for tick in range(takes * 2)]
    assert answers.index(3) == takes
    assert answers.count(3) == 1  # and asks the next time only after as long again
    assert hand.answers(RECORD._replace(prompt=4, tick=takes * 2)) is None


@pytest.mark.parametrize("key", ["\n", " "])
def test_a_key_answers_the_prompt_on_the_screen(person, key):
    asked = RECORD._replace(prompt=2)
    assert person.hand.answers(asked) is None
    person.clock.s += SETTLE_S + 0.1
    person.typed.keys = key
    assert person.hand.answers(asked) == 2
    assert person.hand.answers(asked) is None


def test_a_key_pressed_just_before_the_prompt_was_meant_for_something_else(person):
    asked = RECORD._replace(prompt=2)
    person.typed.keys = "\n"
    assert person.hand.answers(asked) is None
    person.clock.s += SETTLE_S - 0.05
    person.typed.keys = "\n"
    assert person.hand.answers(asked) is None
    person.clock.s += 0.1
    assert person.hand.answers(asked) is None  # the key is spent, nothing answers by itself


def test_a_prompt_that_follows_at_once_asks_for_its_own_key(person):
    person.hand.answers(RECORD._replace(prompt=2))
    person.clock.s += 5
    person.typed.keys = "\n"
    assert person.hand.answers(RECORD._replace(prompt=3)) is None


@pytest.mark.parametrize("keys", ["x", "b", "\x1b", "yes"])
def test_other_keys_answer_nothing(person, keys):
    asked = RECORD._replace(prompt=2)
    person.hand.answers(asked)
    person.clock.s += 5
    person.typed.keys = keys
    assert person.hand.answers(asked) is None


def test_without_a_prompt_there_is_nothing_to_answer(person):
    person.clock.s += 5
    person.typed.keys = "\n "
    assert person.hand.answers(RECORD) is None


@pytest.mark.parametrize(("keys", "presses"), [("b", 1), ("B", 1), ("", 0), ("x\n", 0)])
def test_b_holds_the_virtual_button(person, keys, presses):
    person.typed.keys = keys
    person.hand.answers(RECORD)
    assert person.button.presses == presses


def test_a_real_device_has_its_own_button(clock):
    typed = Typed()
    typed.keys = "b"
    assert PersonAtKeyboard(typed, None, StopSignal()).answers(RECORD) is None


def test_ctrl_c_is_counted_and_given_back():
    before = signal.getsignal(signal.SIGINT)
    with StopSignal() as stop:
        hand = PersonAtKeyboard(Typed(), None, stop)
        assert hand.stops() == 0
        signal.raise_signal(signal.SIGINT)
        assert hand.stops() == 1
        signal.raise_signal(signal.SIGINT)
        assert hand.stops() == ScriptedHand(Button(), stop).stops() == 2
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals to type into")
def test_keys_come_one_by_one_and_the_terminal_is_put_back(monkeypatch):
    import termios

    from emberbed.bench.keys import Keys

    keyboard, terminal = os.openpty()
    with os.fdopen(terminal, closefd=True) as standard_input:
        monkeypatch.setattr(sys, "stdin", standard_input)
        before = termios.tcgetattr(terminal)
        with Keys() as keys:
            assert keys.pressed() == ""
            os.write(keyboard, b"b\r")
            typed = keys.pressed()
            while len(typed) < 2:
                typed += keys.pressed()
            assert typed == "b\n"
            assert not termios.tcgetattr(terminal)[3] & termios.ICANON
            assert not termios.tcgetattr(terminal)[0] & termios.IXON  # Ctrl-S holds nothing up
        assert termios.tcgetattr(terminal) == before
    os.close(keyboard)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals to hang up")
def test_a_terminal_that_is_gone_has_no_keys_and_ends_nothing(monkeypatch):
    from emberbed.bench.keys import Keys

    keyboard, terminal = os.openpty()
    with os.fdopen(terminal, closefd=True) as standard_input:
        monkeypatch.setattr(sys, "stdin", standard_input)
        with Keys() as keys:
            os.close(keyboard)
            assert keys.pressed() == ""


def test_without_a_terminal_there_are_no_keys(monkeypatch):
    from emberbed.bench.keys import Keys

    for nothing in (None, SimpleNamespace(isatty=lambda: False)):
        monkeypatch.setattr(sys, "stdin", nothing)
        with Keys() as keys:
            assert keys.pressed() == ""
