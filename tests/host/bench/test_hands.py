"""A person at the keyboard: which keys ask for what, and when."""

import os
import signal
import sys
from types import SimpleNamespace

import pytest

from emberbed.bench import hands
from emberbed.bench.hands import COOL_AGAIN_S, SETTLE_S, PersonAtKeyboard, StopSignal
from emberbed.bench.script_hand import ScriptedHand
from emberbed.bench.wishes import Answer, Stop, Touch
from emberbed_fw import messages
from tests.host.bench import moments
from tests.host.bench.moments import FLUX, followed


class VirtualBench:
    """Plays the virtual device's control channel."""

    def __init__(self):
        self.done = []

    def hold_button(self):
        self.done.append("hold")

    def blow(self, on):
        self.done.append(f"air {on}")


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


class Person:
    """A person in front of a run at one moment."""

    def __init__(self, clock, moment, virtual=True):
        self.typed, self.virtual, self.clock = Typed(), VirtualBench(), clock
        self.hand = PersonAtKeyboard(self.typed, self.virtual if virtual else None, StopSignal())
        self.stands_at(moment)
        self.press("")
        clock.s += 5

    def stands_at(self, moment):
        self.progress = followed(moment())

    def press(self, keys):
        """Type; return what is asked for."""
        self.typed.keys = keys
        return self.hand.wishes(self.progress.newest, self.progress)


@pytest.mark.parametrize("key", ["\n", " "])
def test_a_key_answers_the_prompt_on_the_screen(clock, key):
    person = Person(clock, moments.flux_wait)
    assert person.press(key) == [Answer(FLUX)]
    assert person.press("") == []


def test_a_key_pressed_twice_answers_once(clock):
    person = Person(clock, moments.flux_wait)
    assert person.press("\n\n") == [Answer(FLUX)]
    assert person.press("\n") == []
    clock.s += SETTLE_S
    assert person.press("\n") == [Answer(FLUX)]  # still asked: it was not heard


def test_a_key_pressed_just_before_the_prompt_was_meant_for_something_else(clock):
    person = Person(clock, moments.first_hold)
    person.stands_at(moments.flux_wait)
    assert person.press("\n") == []
    clock.s += SETTLE_S - 0.05
    assert person.press("\n") == []
    clock.s += 0.1
    assert person.press("") == []  # the key is spent, nothing answers by itself


@pytest.mark.parametrize("keys", ["x", "\x1b", "0", "?"])
def test_other_keys_ask_for_nothing(clock, keys):
    assert Person(clock, moments.flux_wait).press(keys) == []


def test_without_a_prompt_and_nothing_held_there_is_nothing_to_answer(clock):
    assert Person(clock, moments.first_ramp).press("\n ") == []


def test_enter_goes_on_where_something_is_held(clock):
    assert Person(clock, moments.held).press("\n") == [Touch(messages.GO_ON)]


@pytest.mark.parametrize(
    ("key", "wish"),
    [
        ("m", Touch(messages.MARK)), ("M", Touch(messages.MARK)),
        ("h", Touch(messages.HOLD_HERE)), ("e", Touch(messages.EXTEND, 600)),
        ("n", Touch(messages.NEXT_STAGE)), ("l", Touch(messages.LAST_PLATEAU)),
        ("+", Touch(messages.OFFSET, 100)), ("-", Touch(messages.OFFSET, -100)),
        ("f", Touch(messages.FAN_NOW)), ("S", Stop(messages.STOP_SMOKE)),
    ],
)  # fmt: skip
def test_each_key_asks_for_its_change(clock, key, wish):
    assert Person(clock, moments.second_ramp).press(key) == [wish]


def test_keys_are_taken_in_their_order(clock):
    wishes = Person(clock, moments.second_ramp).press("hm")
    assert wishes == [Touch(messages.HOLD_HERE), Touch(messages.MARK)]


def test_what_would_be_refused_is_asked_for_all_the_same(clock):
    """The device says no in a sentence, which is stored: nothing is passed over in silence."""
    assert Person(clock, moments.armed).press("m") == [Touch(messages.MARK)]


def test_cooling_is_asked_for_twice(clock):
    person = Person(clock, moments.second_ramp)
    assert not person.hand.cool_asked
    assert person.press("c") == []
    assert person.hand.cool_asked
    assert "C: again: cool down now" in person.hand.hints(person.progress)
    clock.s += COOL_AGAIN_S - 0.1
    assert person.press("c") == [Touch(messages.COOL_DOWN)]
    assert not person.hand.cool_asked


def test_a_second_c_that_comes_late_is_a_first_one(clock):
    person = Person(clock, moments.second_ramp)
    person.press("c")
    clock.s += COOL_AGAIN_S + 0.1
    assert not person.hand.cool_asked
    assert person.press("c") == []
    assert person.press("cc") == [Touch(messages.COOL_DOWN)]


@pytest.mark.parametrize(("keys", "presses"), [("b", 1), ("B", 1), ("", 0), ("x", 0)])
def test_b_holds_the_virtual_button(clock, keys, presses):
    person = Person(clock, moments.armed)
    person.press(keys)
    assert person.virtual.done == ["hold"] * presses


def test_a_brings_the_virtual_hot_air_and_takes_it_away(clock):
    person = Person(clock, moments.air_on)
    assert "A: hot air on" in person.hand.hints(person.progress)
    assert person.press("a") == []
    assert "A: hot air off" in person.hand.hints(person.progress)
    person.press("a")
    assert person.virtual.done == ["air True", "air False"]


def test_a_real_bench_has_its_own_button_and_hot_air(clock):
    person = Person(clock, moments.air_on, virtual=False)
    assert person.press("ab") == []
    assert not [hint for hint in person.hand.hints(person.progress) if hint.startswith(("A", "B"))]


def test_keys_come_from_the_terminal(clock):
    assert PersonAtKeyboard.source == messages.BY_TERMINAL
    assert ScriptedHand.source == messages.BY_SCRIPT


def test_ctrl_c_is_counted_and_given_back():
    before = signal.getsignal(signal.SIGINT)
    with StopSignal() as stop:
        hand = PersonAtKeyboard(Typed(), None, stop)
        assert hand.stops() == 0
        signal.raise_signal(signal.SIGINT)
        assert hand.stops() == 1
        signal.raise_signal(signal.SIGINT)
        assert hand.stops() == ScriptedHand(VirtualBench(), stop).stops() == 2
        hand.forget_stops()
        assert hand.stops() == 0
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
