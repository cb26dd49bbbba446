"""Write what a run's player needs into one file: header, records in order, snapshots between them.

The form is the player's (player.py); it is never kept, only handed to an interpreter.
"""

import struct
from collections.abc import Iterable
from typing import BinaryIO

from emberbed.replay import player
from emberbed.store.contents import tick_of
from emberbed.store.runs import Snapshot


def write_tape(
    stream: BinaryIO,
    settings: bytes,
    plan: bytes,
    trips: bytes,
    records: Iterable[bytes],
    snapshots: Iterable[Snapshot] = (),
) -> int:
    """Write the blocks of a run; return how many records there were."""
    for kind, block in ((player.SETTINGS, settings), (player.PLAN, plan), (player.TRIPS, trips)):
        _write(stream, kind, block)
    known = {snapshot.tick: snapshot.numbers for snapshot in snapshots}
    count = 0
    for octets in records:
        before = tick_of(octets) - 1
        if before in known:
            _write(stream, player.SNAPSHOT, struct.pack(player.TICK, before) + known[before])
        _write(stream, player.RECORD, octets)
        count += 1
    return count


def _write(stream: BinaryIO, kind: int, block: bytes) -> None:
    stream.write(struct.pack(player.BLOCK, kind, len(block)) + block)
