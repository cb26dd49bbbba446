"""The same way through on an ESP32: its own port, its file system, its clock's memory.

`emberbed device install` as a person types it, with the example's description and without one.
"""

import json
import time

from emberbed.firmware_sources import TOLD_BYTES, digest_of
from emberbed.install.installer import Wanted, go_back, install
from emberbed.install.into_service import ask_for_service, greeting_of, prompt_of
from emberbed.install.remote import Remote
from emberbed.link.device import Device
from emberbed_fw import run_states as rs
from emberbed_fw import start_up
from emberbed_fw.device_port import RESET_COMMANDED, RESET_POWER
from emberbed_fw.errands import CONFIRM_TICKS
from tests.install.board import ESP32, Board
from tests.install.conftest import another_version, wiring_for
from tests.support.plans import bench_settings

CONFIRM_S = CONFIRM_TICKS / 10 + 3
EXAMPLE = "host/emberbed/device_file/example-esp32.toml"


def test_fresh_board_update_confirm_service_and_back(tmp_path, sources, told):
    newer = another_version(sources)
    block, wiring = bench_settings(has=0), wiring_for("esp32")
    with Board(tmp_path, platform=ESP32) as board:
        done = install(board.port, Wanted(sources, block, wiring), told.append)
        assert done.runs_the_new_one and done.board.platform == ESP32
        assert done.greeting.state == rs.IDLE
        done = install(board.port, Wanted(newer), told.append)
        assert done.greeting.build_id == digest_of(newer)[:TOLD_BYTES]
        time.sleep(CONFIRM_S)
        assert ask_for_service(board.port) == block
        here = prompt_of(Remote(board.port), 10.0)
        assert here.marker.decode().split(" ")[:3] == ["b", start_up.KEPT, "0"]
        assert here.port_name() == "esp32"
        done = go_back(board.port, told.append)
        assert done.greeting.build_id == digest_of(sources)[:TOLD_BYTES]
        with Device.connect(board.port) as device:
            assert device.read_settings() == block
        assert board.bitten == 0


def test_why_it_started_outlives_the_reset_in_the_clock_s_memory(tmp_path, sources, told):
    wanted = Wanted(sources, bench_settings(has=0), wiring_for("esp32"))
    with Board(tmp_path, platform=ESP32) as board:
        assert install(board.port, wanted, told.append).greeting.reset_cause == RESET_POWER
        ask_for_service(board.port)
        prompt_of(Remote(board.port), 10.0)
        Remote(board.port).reset()
        assert greeting_of(board.port).reset_cause == RESET_COMMANDED
        board.power_cycle()
        time.sleep(1.0)
        assert greeting_of(board.port).reset_cause == RESET_POWER


def test_example_by_command_and_the_wrong_board(emberbed, tmp_path):
    with Board(tmp_path, platform=ESP32) as board:
        wrong = emberbed("install", board.port, "--description", EXAMPLE.replace("-esp32", ""))
        assert wrong.exit_code == 2 and "The device description is for rp2" in wrong.stderr
        result = emberbed("install", board.port, "--description", EXAMPLE, "--json")
        assert result.exit_code == 0, result.stderr
        said = json.loads(result.stdout)
        info = json.loads(emberbed("info", "--device", board.port, "--json").stdout)
        assert said["as_wanted"] and info["fingerprint"] == said["fingerprint"]
