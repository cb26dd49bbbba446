"""A whole start of the installed firmware in a MicroPython whose heap is limited.

The interpreter comes as a command. Where EMBERBED_MICROPYTHON_32 names a 32-bit one (Debian 13 has
it as micropython:i386), its objects are as wide as a board's; its heap is what `-X heapsize` says,
in one piece. The stand-ins for what a board has in its MicroPython (machine, time, select) take
some kB that are told, and come on top of what the firmware is given.
"""

import os
import shutil
import struct
import subprocess
from dataclasses import dataclass
from pathlib import Path

from emberbed.link.blocks import write_payloads
from emberbed.link.frames import Frame, encode
from emberbed_fw import messages
from tests.install.played_board import PLAYED, WIRE
from tests.support.plans import build_plan, cool, hold
from tests.support.wire import HOST_NONCE, Wire

NAMED = "EMBERBED_MICROPYTHON_32"
DEVICE_NONCE = 7  # of a board without a number whose clock stands at 7 us (ticks_on_pins.py)
STAGES, STAGE_TICKS, HELD_CDEG = 10, 2_000, 9_000
STEP_BYTES = 256
LEAST_BEAD_MK = 35_000  # it has heated
LEAST_BYTES, MOST_BYTES = 100_000, 400_000
TICKS = 1_000
PLANS = {  # couples, knots of the plan that a host loads (0: the device's own hold)
    "two couples, a plain hold": (2, 0),
    "two couples, a plan of 20 knots": (2, 20),
    "two couples, a plan of 170 knots": (2, 170),
    "two couples, the longest plan (512 knots)": (2, 512),
    "four couples, a plain hold": (4, 0),
}


@dataclass(frozen=True)
class Seen:
    """At one tick, after a collection; without what the bench took before the firmware came."""

    used: int
    free: int
    largest: int
    bead_mk: int


def micropython_32() -> list[str]:
    """Return the command of a 32-bit MicroPython, [] where none is named."""
    named = shutil.which(os.environ.get(NAMED, ""))
    return [named] if named else []


def plan_of(knots: int) -> bytes:
    """Return a plan of STAGES stages and so many knots, for two couples at 1 kW."""
    inner = knots // (STAGES - 1)
    stages = [hold(HELD_CDEG, STAGE_TICKS) for _stage in range(STAGES - 1)]
    for number, stage in enumerate(stages):
        count = inner + (knots - inner * len(stages) if number == 0 else 0)
        ticks = [STAGE_TICKS * at // (count - 1) for at in range(count)]
        stage["knots"] = [(tick, HELD_CDEG) for tick in ticks]
    return build_plan([*stages, cool()])


def write_wire(folder: Path, plan: bytes | None) -> None:
    """Write what a host says that loads a plan; nothing for None."""
    said = b""
    if plan is not None:
        wire = Wire(nonce=DEVICE_NONCE)
        assert wire.hello()
        asked = [(messages.HELLO, struct.pack("<BI", 1, HOST_NONCE))]
        asked += [(messages.PLAN_WRITE, payload) for payload in write_payloads(plan)]
        for sequence, (kind, payload) in enumerate(asked):
            session = wire.session if sequence else 0
            said += encode(Frame(kind, session, sequence + 1, 0, payload))
    (folder / WIRE).write_bytes(said)


def start(
    command: list[str], folder: Path, heap_bytes: int, ticks: list[int]
) -> tuple[int, list[Seen], str]:
    """Start a board's folder; return the bench's bytes, what was seen at each of the ticks, and all
    that was printed."""
    code = (
        "import gc\ngc.collect()\nprint(gc.mem_alloc())\nimport ticks_on_pins as bench\n"
        f"bench.main({str(folder)!r}, {PLAYED!r}, {ticks!r})"
    )
    done = subprocess.run(
        [*command, "-X", f"heapsize={heap_bytes}", "-c", code], capture_output=True, text=True,
        timeout=500, cwd=folder, env={**os.environ, "MICROPYPATH": str(folder)},
    )  # fmt: skip
    printed = done.stdout + done.stderr
    rows = [[int(n) for n in line.split()] for line in done.stdout.splitlines() if _is_row(line)]
    bench = rows[1][0] - rows[0][0] if len(rows) > 1 else 0
    return bench, [Seen(row[0] - bench, *row[1:]) for row in rows[2:]], printed


def heats(seen: list[Seen], ticks: list[int]) -> bool:
    """Tell whether it has come to the last tick, and has loaded, been pressed, and heated."""
    return len(seen) == len(ticks) and seen[-1].bead_mk > LEAST_BEAD_MK


def least_heap(command: list[str], folder: Path, ticks: list[int]) -> tuple[int, list[Seen]]:
    """Return the smallest heap, besides the bench's bytes, with which it still heats, and what was
    seen in it."""
    low, high = LEAST_BYTES, MOST_BYTES
    bench, best, printed = start(command, folder, high, ticks)
    assert heats(best, ticks), printed
    while high - low > STEP_BYTES:
        middle = (low + high) // 2
        _bench, seen, _printed = start(command, folder, middle, ticks)
        if heats(seen, ticks):
            high, best = middle, seen
        else:
            low = middle
    return high - bench, best


def _is_row(line: str) -> bool:
    return bool(line) and all(word.isdigit() for word in line.split())
