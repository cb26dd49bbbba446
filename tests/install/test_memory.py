"""What a board must have: live bytes in the 32-bit interpreter, and the least heap that it runs in.

The firmware as it is installed (folded, linked, compiled), with a controller board's own port on
played pins, booted, with a plan loaded and running, after 10,000 ticks. The heap of the smallest
boards is taken to be 160 KB (RP2040, ESP32 without external RAM): see docs/install.md.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from emberbed.install.version import build_version
from emberbed_fw.ports.wiring import LINK_UART, pack_wiring
from emberbed_fw.start_up import BY_HAND
from tests.support.parts import need_program, need_wasm_module
from tests.support.plans import bench_settings

HERE = Path(__file__).parent
BENCH = HERE / "ticks_on_pins.py"
TICKS = 10_000
KEPT = ("build", "one_turn")  # what the bench calls by name
SMALLEST_HEAP = 160 * 1024
COUPLE = ("bead", 1, 20000, 0, 4096)
MOST_LIVE_BYTES = {2: 148_000, 4: 158_000}  # by couples: fewer need less memory for the minutes
MOST_GROWTH_BYTES = 6_000  # from the boot to the run: the plan, nothing that grows with time
UNIX_HEAP = "330K"  # objects there are twice as wide
LEAST_PIECE_BYTES = 8_000
PINS = {
    "sck": 2, "mosi": 3, "miso": 4, "tx": 0, "rx": 1, "contactor": 6, "button": 7,
    "contactor_sense": 8, "current_sense": 9,
}  # fmt: skip
ZONE = 10
PLAYED = {role: PINS[role] for role in PINS if role not in ("sck", "mosi", "miso", "tx", "rx")}
PLAYED["zone"] = ZONE
COLD_MK = 25_000


@pytest.fixture
def root(tmp_path, sources):
    """Return a function that writes what a board with so many couples holds."""

    def write(couples, port):
        selects = list(range(11, 11 + couples))
        wiring = pack_wiring(port, LINK_UART, 0, 0, 115200, PINS, selects, [ZONE])
        block = bench_settings(has=3, channels=[COUPLE] * couples, zones=[(1000, 2)], hold_cdeg=9000)
        version = build_version(sources, "", port, block, wiring, KEPT)
        version.write_to(tmp_path)
        version.write_to(tmp_path / BY_HAND)
        start = tmp_path / "emberbed_fw" / "start_up.mpy"
        (tmp_path / "emberbed_start.mpy").write_bytes(start.read_bytes())
        return tmp_path

    return write


@pytest.mark.parametrize(("port", "couples"), [("rp2040", 2), ("rp2040", 4), ("esp32", 2)])
def test_live_bytes_in_the_32_bit_interpreter(root, port, couples):
    node = need_program("node", "install Node.js 18 or later")
    command = [
        node, str(HERE / "memory.mjs"), str(need_wasm_module()), str(root(couples, port) / BY_HAND),
        str(BENCH), port, json.dumps(PLAYED), str(TICKS),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stdout[-1000:]
    told = json.loads(done.stdout)
    assert told["bead_mk"] > COLD_MK + 50_000, "it has not heated"
    live = {step: told[step] - told["start"] for step in ("code", "port", "boot", "run")}
    print(live)
    assert live["run"] <= MOST_LIVE_BYTES[couples] < SMALLEST_HEAP, live
    assert live["run"] - live["boot"] <= MOST_GROWTH_BYTES, live


def test_it_runs_in_little_more_than_it_keeps(root):
    pins = ",".join(f"{role}={pin}" for role, pin in PLAYED.items())
    folder = root(2, "rp2040")
    command = [
        sys.executable, "-m", "micropython_unix", "-X", f"heapsize={UNIX_HEAP}", str(BENCH),
        str(folder), "rp2040", pins, str(TICKS),
    ]  # fmt: skip
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=500, env={**os.environ}, cwd=folder
    )
    assert done.returncode == 0, done.stderr[-1000:] + done.stdout[-1000:]
    _free, piece, bead_mk = map(int, done.stdout.split()[-3:])
    assert bead_mk > COLD_MK + 50_000 and piece >= LEAST_PIECE_BYTES, (piece, bead_mk)
