"""A run through the real store on a disk that may lose power at any operation, and what is left.

`python -m tests.host.store.power_loss` sweeps every operation with many disks and tells the counts.
"""

import sqlite3
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

from emberbed.store import writing
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import drawn_record, facts
from tests.support.recording_disk import Disk, Survives, by_chance, everything, nothing, recording

NAME = "runs.sqlite"
STRETCH_TICKS = 40  # so that a short run is packed several times
CHECKPOINT_PAGES = 6  # and its log is written back several times
BLOCKS, BLOCK = 14, 4
FULL, NORMAL, OFF = "FULL", "NORMAL", "OFF"


@dataclass
class Written:
    """What was done, and what the store had acknowledged after how many operations."""

    disk: Disk
    acknowledged: list[tuple[int, bytes]] = field(default_factory=list)  # operations, record
    ended: int = sys.maxsize

    def records_after(self, operations: int) -> list[bytes]:
        return [record for after, record in self.acknowledged if after <= operations]


def write_run(folder: Path, synchronous: str = FULL) -> Written:
    """Record, pack, note and end a run; remember when each block was acknowledged."""
    with recording() as disk, patch.object(writing, "STRETCH_TICKS", STRETCH_TICKS):
        written = Written(disk)
        with RunStore.open(folder / NAME) as store:
            ask = store.database.connection.execute
            ask(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
            if synchronous != FULL:
                ask(f"PRAGMA synchronous = {synchronous}")
            run_id = store.begin_run(facts())
            for first in range(0, BLOCKS * BLOCK, BLOCK):
                records = [drawn_record(first + more) for more in range(BLOCK)]
                store.append(run_id, records)
                written.acknowledged += [(len(disk.operations), one) for one in records]
                if first % 3 == 0:
                    store.add_event(run_id, first, "stage", f"Tick {first}.")
            store.add_snapshot(run_id, 30, bytes(400))
            store.end_run(run_id, "finished", 0)
            written.ended = len(disk.operations)
            store.add_note(run_id, "Looked at.")
    return written


def fault_after(written: Written, operations: int, survives: Survives, folder: Path) -> str:
    """Return what is wrong with the store after this loss of power, '' for nothing."""
    for left in folder.iterdir():
        left.unlink()
    for name, content in written.disk.after(operations, survives).items():
        (folder / name).write_bytes(content)
    try:
        with RunStore.open(folder / NAME) as store:
            (checked,) = store.database.connection.execute("PRAGMA integrity_check").fetchone()
            if checked != "ok":
                return f"damaged: {checked}"
            return _fault_of(store, written, operations)
    except (StoreError, sqlite3.Error) as error:
        return f"not readable: {error}"


def _fault_of(store: RunStore, written: Written, operations: int) -> str:
    wanted = written.records_after(operations)
    runs = store.runs()
    if not runs:
        return "the run is lost" if wanted else ""
    stored = list(store.raw_records(1))
    if stored[: len(wanted)] != wanted:
        return f"{len(wanted)} records acknowledged, {len(stored)} there"
    if operations >= written.ended and runs[0].state != "finished":
        return "the verdict is lost"
    signs = store.audit(1)
    return f"the chain is broken: {signs[0]}" if signs else ""


def sweep(written: Written, disks: list[Survives], step: int = 1) -> tuple[int, list[str]]:
    """Lose power after every `step` operations on each of these disks; return how many there were
    and what was wrong."""
    faults = []
    positions = range(0, len(written.disk.operations) + 1, step)
    with tempfile.TemporaryDirectory() as folder:
        for operations in positions:
            for disk in disks:
                fault = fault_after(written, operations, disk, Path(folder))
                if fault:
                    faults.append(f"after {operations} operations: {fault}")
    return len(positions) * len(disks), faults


def main() -> None:
    """Sweep everything, for each setting."""
    disks = [nothing, everything, *(by_chance(seed) for seed in range(8))]
    for synchronous in (FULL, NORMAL, OFF):
        with tempfile.TemporaryDirectory() as folder:
            written = write_run(Path(folder), synchronous)
        tried, faults = sweep(written, disks)
        print(
            f"synchronous {synchronous}: {len(written.disk.operations)} operations, {tried} losses"
            f" of power, {len(faults)} with something lost" + (f" ({faults[0]})" if faults else "")
        )


if __name__ == "__main__":
    main()
