"""A person at a terminal: the panel, the button's key, the answer, Ctrl-C."""

import pytest

from emberbed.bench.calls import PRESS_TEXT
from emberbed.records import commands_of
from emberbed_fw import messages, safety_limits
from emberbed_fw import run_states as rs
from tests.support.command import stored
from tests.support.processes import need_posix
from tests.support.profiles import PROMPT, hold_profile
from tests.support.terminal import CTRL_C, Terminal


@pytest.fixture(autouse=True)
def posix():
    need_posix("Windows has no pseudo-terminals to play a person in")


@pytest.fixture
def store(tmp_path):
    return tmp_path / "runs.sqlite"


def test_a_run_by_hand(short_profile, store):
    with Terminal("run", short_profile, "--speed", "100", "--store", store) as terminal:
        terminal.until(PRESS_TEXT)
        terminal.until("B: hold the virtual device's button")
        terminal.type("x\n")  # neither of them is the button
        terminal.type("b")
        terminal.until("leave it: it heats")
        terminal.until(PROMPT)
        terminal.until("Enter: done")
        terminal.type("\n")  # at once: meant for something else
        while "Answered, from the terminal." not in terminal.seen:
            terminal.type(" ")
            terminal.until("▁")
        terminal.until("Cooling down, heat is off.")
        terminal.until("Run 1 is stored")
        terminal.until("Finished: every stage ran to its end.")
        assert terminal.end() == 0
        assert "Traceback" not in terminal.seen
    tape = stored(store)
    assert tape.run.state == "finished"
    assert "heat off" not in tape.sentences()


def test_ctrl_c_in_the_terminal_is_for_the_host_alone(short_profile, store):
    """The terminal sends it to every process in front of it; the device must live on and cool."""
    with Terminal("run", short_profile, "--speed", "100", "--press", "--store", store) as terminal:
        terminal.until("stage 1 of 4")  # some heat was given
        terminal.until("Ctrl-C: heat off")
        terminal.type(CTRL_C)
        terminal.until("Stop asked for: heat off")
        terminal.until("Ctrl-C: leave, heat stays off")
        terminal.until("Stopped: a person ended the run")
        assert terminal.end() == 4
        assert "Traceback" not in terminal.seen
    tape = stored(store)
    assert tape.records[-1].state == rs.STOPPED
    cooling = [one for one in tape.records if one.state == rs.COOL]
    assert len(cooling) >= safety_limits.LEAST_COOL_TICKS


def test_second_thoughts_at_the_keyboard(short_profile, store):
    """Hold here and go on, the target up, a mark, and cool down now, which is asked for twice."""
    with Terminal("run", short_profile, "--speed", "30", "--store", store) as terminal:
        terminal.until("never above 65 °C, whatever is changed")
        terminal.until("B: hold the virtual device's button")
        terminal.type("b")
        terminal.until("H: hold here")
        terminal.type("h")
        terminal.until("from the terminal.")
        terminal.until("H: go on")
        terminal.type("h")
        terminal.until("Go on, from the terminal.")
        terminal.type("-")
        terminal.until("Target 1 °C down, from the terminal.")
        terminal.type("m")
        terminal.until("Mark: note, from the terminal.")
        terminal.type("l")
        terminal.until("Not done (back to the last plateau, from the terminal)")
        terminal.type("c")
        terminal.until("C: again: cool down now")
        terminal.type("c")
        terminal.until("Cool down now, from the terminal.")
        terminal.until("Finished: every stage ran to its end.")
        assert terminal.end() == 0
        assert "Traceback" not in terminal.seen
    tape = stored(store)
    kinds = [event.kind for event in tape.events]
    assert kinds.count("touch") == 4 and kinds.count("mark") == kinds.count("refusal") == 1


def test_smoke_is_one_key(short_profile, store):
    with Terminal("run", short_profile, "--speed", "30", "--store", store) as terminal:
        terminal.until("B: hold the virtual device's button")
        terminal.type("b")
        terminal.until("stage 1 of 4")
        terminal.until("S: smoke, heat off")
        terminal.type("s")
        terminal.until("Smoke: heat off.")
        terminal.until("Ctrl-C twice: leave, heat stays off")
        terminal.type(CTRL_C)
        terminal.type(CTRL_C)
        assert terminal.end() == 4
    stop = (messages.STOP, bytes([messages.STOP_SMOKE]))
    assert any(stop in commands_of(raw) for raw in stored(store).raw)


def test_a_mended_trip_is_gone_on_with_at_the_keyboard(tmp_path, store):
    """The couple is off its terminals for some seconds; Enter, then the button."""
    profile = tmp_path / "warm.toml"
    profile.write_text(hold_profile(for_s=30, to_c=55), encoding="utf-8")
    words = ("--speed", "20", "--fault", "tc_open@150s:4s", "--store", store)
    with Terminal("run", profile, *words) as terminal:
        terminal.until("B: hold the virtual device's button")
        terminal.type("b")
        terminal.until("is open: it broke, or came off its terminals.")
        terminal.until("Sensor reads again. Go on from ")
        while "Goes on with run 1" not in terminal.seen:
            terminal.type("\n")
            terminal.until("Touch")
        terminal.until("run 2 · simulated")
        terminal.until("B: hold the virtual device's button")
        terminal.type("b")
        terminal.until("Run 2 goes on with run 1; all are stored")
        assert terminal.end() == 0
        assert "Traceback" not in terminal.seen
    assert stored(store, 1).run.state == "tripped"
    assert (stored(store, 2).run.state, stored(store, 2).run.linked_to) == ("finished", 1)
