"""Whether the run store's disk has room for the longest that a run may take: no record, no heat."""

import shutil
from pathlib import Path

from emberbed.bench.prepare import NotReady
from emberbed.profiles.compile import decode_plan
from emberbed_fw.units import TICKS_PER_S

TICK_BYTES = 40  # of a packed record, about twice what four channels take (docs/data.md)
BASE_BYTES = 32 * 1024 * 1024  # the log beside the file, the newest minute, the page, and some room
HOUR_TICKS = 3600 * TICKS_PER_S
MIB = 1024 * 1024


def check_room(store: Path, plan: bytes) -> None:
    """Raise NotReady when the disk under the store could be full before the run is over."""
    longest_ticks = decode_plan(plan).header["longest_run_ticks"]
    needed = BASE_BYTES + longest_ticks * TICK_BYTES
    free = shutil.disk_usage(store.parent).free
    if free < needed:
        raise NotReady(
            [
                f"The disk under {store} has {free // MIB} MiB free, and a run of up to"
                f" {max(1, round(longest_ticks / HOUR_TICKS))} h needs {needed // MIB} MiB: free"
                " some space, or name a file on another disk with --store"
            ]
        )
