"""A sample of runs, played again in the real MicroPython interpreter: every record bit for bit.

Whole runs of this process, with and without a fault, become tapes; the interpreter takes each
through the same sources with its heap locked. Where no MicroPython is installed there is no sample,
and the evidence says so.
"""

import importlib.util
import os
import subprocess
import sys
import tempfile
from itertools import islice
from pathlib import Path
from random import Random
from typing import NamedTuple

from emberbed.firmware_sources import firmware_folder
from emberbed.replay import player
from emberbed.replay.play import HEAP, MICROPYTHON, parsed
from emberbed.replay.tape import write_tape
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.campaign.setups import Setup, draw, new_loop
from emberbed_sim.faults import FaultEvent

FAULTS = (
    "", "tc_open", "bead_lifted", "ssr_stuck_on", "host_silent", "reading_sticks", "interference",
    "late_ticks",
)  # fmt: skip
ONSET_S = (20.0, 90.0)
MOST_S = 240
LONGEST_S = 120.0


class Played(NamedTuple):
    """One run in MicroPython: how many ticks came out equal, and what did not."""

    fault: str
    seed: int
    ticks: int
    equal: int
    differs: str


def has_micropython() -> bool:
    return importlib.util.find_spec("micropython_unix") is not None


def play(fault: str, seed: int) -> Played:
    """Record a run here and play it there."""
    drawn = draw(Setup(), seed)
    events = [FaultEvent(fault, Random(f"tape {seed}").uniform(*ONSET_S), None)] if fault else []
    loop = new_loop(drawn, seed).fork(events)
    records = list(islice(loop.run(), MOST_S * TICKS_PER_S))
    with tempfile.TemporaryDirectory(prefix="emberbed-") as folder:
        tape = Path(folder) / "run.tape"
        with tape.open("wb") as stream:
            write_tape(stream, drawn.settings, drawn.plan, b"", records)
        said = _in_micropython(tape)
    answer = parsed(MICROPYTHON, said)
    differs = [f"tick {one.tick}: {one.field}" for one in answer.differences]
    differs += [f"ticks {span.first} to {span.last}: {span.why}" for span in answer.unproven]
    return Played(fault, seed, len(records), answer.equal_ticks, "; ".join(differs))


def _in_micropython(tape: Path) -> list[str]:
    ran = subprocess.run(
        [sys.executable, "-m", "micropython_unix", "-X", f"heapsize={HEAP}",
         str(player.__file__), str(tape)],
        capture_output=True, text=True, timeout=LONGEST_S, check=False,
        env={**os.environ, "MICROPYPATH": str(firmware_folder().parent)},
    )  # fmt: skip
    lines = ran.stdout.splitlines()
    if not lines or not lines[-1].startswith("end "):
        return ["failed 0 " + (ran.stderr.strip().splitlines() or ["without a word"])[-1]]
    return lines[:-1]
