"""A person at a terminal: the panel, the button's key, the answer, Ctrl-C."""

import pytest

from emberbed.bench.story import PRESS_TEXT
from emberbed_fw import run_states as rs
from emberbed_fw import safety_limits
from tests.support.command import stored
from tests.support.processes import need_posix
from tests.support.profiles import PROMPT
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
        terminal.until("no: it heats")
        terminal.until(PROMPT)
        terminal.until("Enter: done")
        terminal.type("\n")  # at once: meant for something else
        while "Answered." not in terminal.seen:
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
        terminal.until("no: it heats")
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
