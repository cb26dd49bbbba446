"""Boards and ports that nothing can be installed on: one sentence, the place and the mend."""

import os
import pty
import tty
from dataclasses import replace

import pytest

from emberbed.install import board as boards
from emberbed.install.failure import InstallError
from emberbed.install.installer import Wanted, go_back, install
from emberbed.install.into_service import greeting_of
from emberbed.install.remote import Remote
from emberbed.link.device import Device as Connected
from emberbed.link.device import Refused
from tests.install.board import Board
from tests.install.conftest import wiring_for

OTHER_MAIN = 'with open("/main.py", "w") as target:\n    target.write("print(1)\\n")\nanswer = 1\n'


def refused(port, wanted):
    """Return the one sentence."""
    with pytest.raises(InstallError) as reason:
        install(port, wanted, lambda _told: None)
    sentence = str(reason.value)
    assert "\n" not in sentence and port in sentence
    return sentence


def test_port_without_micropython():
    """A line that swallows what it gets: a modem, a printer, a board without MicroPython."""
    there, line = pty.openpty()
    tty.setraw(line)
    try:
        sentence = refused(os.ttyname(line), Wanted({}))
    finally:
        os.close(there)
        os.close(line)
    assert "shows no MicroPython prompt: put MicroPython on the board first" in sentence


def test_boards_that_want_something_first(tmp_path, wanted, sources):
    with Board(tmp_path) as board:
        assert "no device description" in refused(board.port, Wanted(sources))
        for_another = replace(wanted, wiring=wiring_for("esp32"))
        assert "is for esp32, the board at" in refused(board.port, for_another)
        assert "table of pins" in refused(board.port, replace(wanted, wiring=b"x"))
        with pytest.raises(InstallError, match="There is no version before"):
            go_back(board.port, lambda _told: None)
        assert Remote(board.port).ask(OTHER_MAIN) == 1
        assert "runs another program" in refused(board.port, wanted)
        done = install(board.port, replace(wanted, take_over=True), lambda _told: None)
        assert done.runs_the_new_one


def test_no_free_flash(tmp_path, wanted):
    with Board(tmp_path, blocks=24) as board:
        sentence = refused(board.port, wanted)
        assert "KiB of free flash, the firmware wants" in sentence


def test_device_in_a_run_is_left_alone(tmp_path, wanted, sources):
    """What the firmware refuses is told, and nothing is copied."""
    with Board(tmp_path) as board:
        install(board.port, wanted, lambda _told: None)
        changes = len(board.changes())
        with Connected.connect(board.port), pytest.raises((InstallError, Refused)):
            install(board.port, Wanted(sources), lambda _told: None)
        assert len(board.changes()) <= changes + 12  # a confirmation at most
        assert greeting_of(board.port)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"name": "circuitpython", "version": [9, 2, 1], "mpy": 0x106}, "runs circuitpython 9.2.1"),
        ({"name": "micropython", "version": [1, 19, 1], "mpy": 0x1206}, "runs MicroPython 1.19.1"),
        ({"name": "micropython", "version": [1, 40, 0], "mpy": 0x1207}, "runs MicroPython 1.40.0"),
    ],
)
def test_interpreters_that_do_not_read_our_files(told, words):
    with pytest.raises(InstallError, match=words):
        boards._refuse_strangers("/dev/ttyACM0", told)
