"""Whether two interpreters give the same bits: digests of whole runs, tick by tick.

`digest_of` runs a cell with its seed in this interpreter: the healthy run that its setup stands on,
then the fault from its phase on. Into the digest goes every record that the firmware gives and, in
full precision, what is really so in the plant; beside it stands the campaign's own line.
"""

import hashlib
import struct
from itertools import islice
from typing import NamedTuple

from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.campaign.cells import event_of, run_cell
from emberbed_sim.campaign.phases import snapshots, strike
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.setups import draw, new_loop
from emberbed_sim.campaign.table import Cell
from emberbed_sim.closed_loop import ClosedLoop

HEALTHY_TICKS, FAULTY_TICKS = 600 * TICKS_PER_S, 60 * TICKS_PER_S
TRUTH = struct.Struct("<6d")


class Case(NamedTuple):
    """A cell and its seed."""

    cell: Cell
    seed: int


class Digest(NamedTuple):
    """What came of a case: SHA-256 over so many ticks, and the campaign's line."""

    ticks: int
    sha256: str
    result: Result


def digest_of(case: Case) -> Digest:
    """Run a case here."""
    cell, seed = case
    digest = hashlib.sha256()
    ticks = _take(new_loop(draw(cell.setup, seed), seed), HEALTHY_TICKS, digest)
    loop = snapshots(cell.setup, seed)[cell.phase]
    loop = loop.fork((event_of(cell, seed, loop.heater.elapsed_s),))
    strike(loop, cell.phase)
    ticks += _take(loop, FAULTY_TICKS, digest)
    return Digest(ticks, digest.hexdigest(), run_cell(cell, seed))


def _take(loop: ClosedLoop, most_ticks: int, digest: "hashlib._Hash") -> int:
    ticks = 0
    for packed in islice(loop.run(), most_ticks):
        heater = loop.heater
        thermal = heater.thermal
        digest.update(packed)
        digest.update(
            TRUTH.pack(
                heater.elapsed_s, heater.emitter_power_w, thermal.emitter_k, thermal.centre_k,
                thermal.edge_k, thermal.surroundings_k,
            )
        )  # fmt: skip
        ticks += 1
    return ticks
