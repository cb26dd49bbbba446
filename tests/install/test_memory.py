"""What a board must have: live bytes in the 32-bit interpreter, and that little more is enough.

The firmware as it is installed (folded, linked, compiled), booted on a controller board's own port,
with a plan loaded and running, after 10,000 ticks (memory.py). The heap of the smallest boards is
taken to be 160 KB (RP2040, ESP32 without external RAM): see docs/install.md.
"""

import os
import subprocess
import sys

import pytest

from tests.install.memory import BENCH, BOARDS, PLAYED, bytes_by_step, write_board

SMALLEST_HEAP = 160 * 1024
MOST_LIVE_BYTES = {2: 152_000, 4: 162_000}  # by couples: fewer need less memory for the minutes
MOST_GROWTH_BYTES = 8_000  # from the boot to the run: the plan, nothing that grows with time
WARMED_MK = 35_000
TICKS = 1_000
UNIX_HEAP = "300K"  # where references are twice as wide
LEAST_PIECE_BYTES = 8_000


@pytest.mark.parametrize(("port", "couples", "ticks"), BOARDS)
def test_live_bytes_in_the_32_bit_interpreter(sources, tmp_path, port, couples, ticks):
    live = bytes_by_step(tmp_path, sources, port, couples, ticks)
    assert live["bead_mk"] > WARMED_MK, "it has not heated"
    assert live["run"] <= MOST_LIVE_BYTES[couples] < SMALLEST_HEAP, live
    assert live["run"] - live["boot"] <= MOST_GROWTH_BYTES, live


def test_little_more_than_it_keeps_is_enough(sources, tmp_path):
    """Boot, load and run with what they leave behind on the way."""
    folder = write_board(tmp_path, sources, "rp2040", 2)
    pins = ",".join(f"{role}={pin}" for role, pin in PLAYED.items())
    command = [
        sys.executable, "-m", "micropython_unix", "-X", f"heapsize={UNIX_HEAP}", str(BENCH),
        str(folder), "rp2040", pins, str(TICKS),
    ]  # fmt: skip
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=500, env={**os.environ}, cwd=folder
    )
    assert "Traceback" not in done.stdout + done.stderr, done.stdout[-1000:] + done.stderr[-1000:]
    _free, piece, bead_mk = map(int, done.stdout.split()[-3:])
    assert bead_mk > WARMED_MK and piece >= LEAST_PIECE_BYTES, (piece, bead_mk)
