"""What a board must have: live bytes on 32 bits, and a whole start in a heap of 160 KB.

The firmware as it is installed (folded, numbered, linked, compiled), started on a controller
board's own port, with a plan loaded and running. 160 KB is what the smallest boards are taken to
give (RP2040, ESP32 without external RAM): see docs/install.md.
"""

import sys

import pytest

from emberbed_fw.start_up import KEPT, NEW
from tests.install.limited import NAMED, heats, micropython_32, plan_of, start, write_wire
from tests.install.memory import BOARDS, bytes_by_step
from tests.install.played_board import write_board

SMALLEST_HEAP = 160 * 1024
MOST_LIVE_BYTES = {2: 151_000, 4: 161_000}  # by couples: fewer need less memory for the minutes
MOST_GROWTH_BYTES = 8_000  # from the boot to the run: the plan, nothing that grows with time
MOST_DRIFT_BYTES = 500  # from the first ticks of a run to the last
WARMED_MK = 35_000
LOW_HEAP_BYTES = 4096  # of ports/controller.py, which only a board can import
TICKS = [200, 10_000]
WIDE_HEAP, WIDE_TICKS = 300 * 1024, [200, 1_000]  # where references are twice as wide


@pytest.mark.parametrize(("port", "couples", "ticks"), BOARDS)
def test_live_bytes_in_the_32_bit_interpreter(sources, tmp_path, port, couples, ticks):
    live = bytes_by_step(tmp_path, sources, port, couples, ticks)
    assert live["bead_mk"] > WARMED_MK, "it has not heated"
    assert live["run"] <= MOST_LIVE_BYTES[couples], live
    assert live["run"] - live["boot"] <= MOST_GROWTH_BYTES, live


@pytest.mark.parametrize(("state", "knots"), [(KEPT, 0), (NEW, 0), (KEPT, 20)])
def test_160_kb_are_enough_on_32_bits(sources, tmp_path, state, knots):
    """Start, its self-test where it is new, load, press, 10,000 ticks; two couples. The heap that
    is free then keeps the device from its own trip for want of memory."""
    command = micropython_32()
    if not command:
        pytest.skip(
            "no 32-bit MicroPython whose heap can be limited, and neither pip nor npm has one: on"
            " Debian 13 'dpkg --add-architecture i386', 'apt update', 'apt install"
            f" micropython:i386', and name its program in {NAMED}"
        )
    root = write_board(tmp_path, sources, "rp2040", 2, state)
    write_wire(root, plan_of(knots) if knots else None)
    bench, seen, printed = start(command, root, WIDE_HEAP, TICKS[:1])
    bench, seen, printed = start(command, root, SMALLEST_HEAP + bench, TICKS)
    assert heats(seen, TICKS), printed
    assert seen[1].free > LOW_HEAP_BYTES, seen
    assert abs(seen[1].used - seen[0].used) <= MOST_DRIFT_BYTES, seen


def test_little_more_than_it_keeps_is_enough_on_64_bits(sources, tmp_path):
    """The same with what pip has, whose references are twice as wide."""
    root = write_board(tmp_path, sources, "rp2040", 2, NEW)
    command = [sys.executable, "-m", "micropython_unix"]
    _bench, seen, printed = start(command, root, WIDE_HEAP, WIDE_TICKS)
    assert heats(seen, WIDE_TICKS), printed
