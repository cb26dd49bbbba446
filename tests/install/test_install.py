"""Installing on a board with a real MicroPython, a real littlefs, and the real mpremote.

The board's port is the firmware's own for RP2 boards, on pins that are none (board_machine.py).
"""

import time

from emberbed.firmware_sources import TOLD_BYTES, digest_of
from emberbed.install.installer import Wanted, go_back, install
from emberbed.install.into_service import ask_for_service, greeting_of, prompt_of
from emberbed.install.remote import Remote
from emberbed.link.device import Device
from emberbed_fw import run_states as rs
from emberbed_fw import start_up
from emberbed_fw.errands import CONFIRM_TICKS
from tests.install.board import Board
from tests.install.conftest import another_version

CONFIRM_S = CONFIRM_TICKS / 10 + 3


def build_of(sources):
    return digest_of(sources)[:TOLD_BYTES]


def test_fresh_board_update_and_back(tmp_path, wanted, sources, told):
    newer = another_version(sources)
    with Board(tmp_path) as board:
        done = install(board.port, wanted, told.append)
        assert done.runs_the_new_one and done.greeting.build_id == build_of(sources)
        assert done.greeting.state == rs.IDLE
        # the description goes on to the next version by itself
        done = install(board.port, Wanted(newer), told.append)
        assert done.runs_the_new_one and done.greeting.build_id == build_of(newer)
        with Device.connect(board.port) as device:
            assert device.read_settings() == wanted.block
        done = go_back(board.port, told.append)
        assert done.runs_the_new_one and done.greeting.build_id == build_of(sources)
        assert board.bitten == 0  # no watchdog ran while nobody fed it


def test_service_starts_neither_watchdog_nor_loop(tmp_path, wanted, told):
    with Board(tmp_path) as board:
        install(board.port, wanted, told.append)
        assert ask_for_service(board.port) == wanted.block
        here = prompt_of(Remote(board.port), 10.0)
        time.sleep(2.5)  # longer than the watchdog's time
        assert board.bitten == 0
        assert prompt_of(Remote(board.port), 0.0) == here
        starts = board.starts
        board.power_cycle()  # service is for one start
        assert greeting_of(board.port).state == rs.IDLE
        assert board.starts == starts + 1


def test_new_version_confirms_itself_and_then_stays(tmp_path, wanted, sources, told):
    with Board(tmp_path) as board:
        install(board.port, wanted, told.append)
        time.sleep(CONFIRM_S)
        ask_for_service(board.port)
        marker = prompt_of(Remote(board.port), 10.0).marker
        assert marker.decode().split(" ")[:3] == ["a", start_up.KEPT, "0"]


def test_version_that_never_confirms_itself_gives_way(tmp_path, wanted, sources, told):
    """The power goes, each time before it has run for long enough."""
    newer = another_version(sources)
    with Board(tmp_path) as board:
        install(board.port, wanted, told.append)
        install(board.port, Wanted(newer), told.append)
        seen = []
        for _start in range(start_up.MOST_STARTS):
            board.power_cycle()
            time.sleep(0.3)
            seen.append(greeting_of(board.port).build_id)
        assert seen == [build_of(newer)] * (start_up.MOST_STARTS - 1) + [build_of(sources)]


def test_version_whose_loop_fails_gives_way_at_once(tmp_path, wanted, sources, told):
    broken = {**sources, "panel.py": sources["panel.py"] + b"\n\nPanel = None\n"}
    with Board(tmp_path) as board:
        install(board.port, wanted, told.append)
        done = install(board.port, Wanted(broken), told.append)
        assert not done.runs_the_new_one and done.greeting.build_id == build_of(sources)
        assert "did not keep the new version" in done.sentence(board.port)
