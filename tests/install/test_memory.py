"""What a board must have: live bytes in the 32-bit interpreter, free heap and its largest piece.

The firmware as it is installed (folded, compiled), booted, with a plan loaded and running, after
10,000 ticks. 160 KB, the heap of the smallest boards, do not hold it: see docs/install.md.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from emberbed.install.version import build_version
from emberbed_fw import run_states as rs
from tests.support.parts import need_program, need_wasm_module

HERE = Path(__file__).parent
BENCH = HERE / "ticks_on_heap.py"
TICKS = 10_000
MOST_LIVE_BYTES = 206_000  # of 32-bit objects, with the smallest memory of a long run
MOST_GROWTH_BYTES = 8_000  # from the boot to the run: the plan, nothing that grows with time
UNIX_HEAP = "448K"  # objects there are twice as wide
LEAST_FREE_BYTES, LEAST_PIECE_BYTES = 96_000, 24_000


@pytest.fixture(scope="module")
def firmware(tmp_path_factory, sources):
    folder = tmp_path_factory.mktemp("compiled")
    build_version(sources, "", "rp2040", b"", b"").write_to(folder)
    return folder


def test_live_bytes_in_the_32_bit_interpreter(firmware):
    node = need_program("node", "install Node.js 18 or later")
    command = [
        node, str(HERE / "memory.mjs"), str(need_wasm_module()), str(firmware / "emberbed_fw"),
        str(BENCH), str(TICKS),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stdout[-1000:]
    told = json.loads(done.stdout)
    assert (told["state"], told["trip"]) == (rs.RUN, 0)
    assert told["run"] <= MOST_LIVE_BYTES, told
    assert told["run"] - told["boot"] <= MOST_GROWTH_BYTES, told


def test_free_heap_and_its_largest_piece(firmware):
    command = [
        sys.executable, "-m", "micropython_unix", "-X", f"heapsize={UNIX_HEAP}", str(BENCH),
        str(firmware), str(TICKS),
    ]  # fmt: skip
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=500, env={**os.environ}, cwd=firmware
    )
    free, piece, state, _run_bytes = map(int, done.stdout.split()[-4:])
    assert state == rs.RUN
    assert free >= LEAST_FREE_BYTES and piece >= LEAST_PIECE_BYTES, (free, piece)
