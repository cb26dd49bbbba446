"""Read a run's records wherever they lie: minutes packed as stretches, the newest ones as rows.

A stretch is never changed once it is there, so only the list of what lies where is read in one go;
whoever writes meanwhile is not kept waiting.
"""

import heapq
import struct
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from emberbed.store import statements as sql
from emberbed.store.database import Database
from emberbed.store.faults import told
from emberbed.store.runs import Gap
from emberbed.store.stretches import PackedBlock, unpack
from emberbed_fw.record import FIELDS

assert FIELDS[0][0] == "tick", "every form of a record begins with its tick"
_TICK = struct.Struct("<" + FIELDS[0][1])

Ticked = tuple[int, bytes, bool]  # tick, record, whether it was rebuilt


class _Part(NamedTuple):
    """One place with records: a stretch, or all rows. `rows` is None for a stretch."""

    first_tick: int
    last_tick: int
    ticks: int
    last_block: int
    rows: list[Ticked] | None


def tick_of(record: bytes) -> int:
    """Return the tick of record bytes of any form; ValueError for bytes that are none."""
    if len(record) < _TICK.size:
        raise ValueError("a record is cut short")
    return _TICK.unpack_from(record)[0]


def ticked_records(database: Database, run_id: int, from_tick: int = 0) -> Iterator[Ticked]:
    """Give the records of a run in tick order. ValueError: a stretch cannot be read."""
    for parts in _overlapping(_parts(database, run_id, from_tick)):
        sources = [_ticked(database, run_id, part) for part in parts]
        yield from (one for one in heapq.merge(*sources) if one[0] >= from_tick)


def gaps(database: Database, run_id: int) -> Iterator[Gap]:
    """Give the spans of ticks that are missing between the first and the last stored one."""
    expected = None
    for first, last in sorted(_pieces(database, run_id)):
        if expected is not None and first > expected:
            yield Gap(expected, first - 1)
        expected = last + 1 if expected is None else max(expected, last + 1)


def stored_among(database: Database, run_id: int, first: int, last: int) -> dict[int, bytes]:
    """Return the stored records of the ticks `first` to `last`, by tick."""
    found: dict[int, bytes] = {}
    for row in database.all(sql.PACKED_BETWEEN, run_id, first, last):
        found.update((tick, octets) for tick, octets, _ in _of_blocks(unpack(row["packed"])))
    found.update((row[0], row[1]) for row in database.all(sql.ROWS, run_id, first))
    return {tick: octets for tick, octets in found.items() if first <= tick <= last}


def packed_blocks(database: Database, run_id: int, last_block: int) -> list[PackedBlock]:
    """Return the blocks of the stretch that ends with this one; ValueError if it is damaged."""
    return unpack(database.all(sql.PACKED, run_id, last_block)[0]["packed"])


def _pieces(database: Database, run_id: int) -> Iterator[tuple[int, int]]:
    for part in _parts(database, run_id, 0):
        if part.ticks == part.last_tick - part.first_tick + 1:
            yield part.first_tick, part.last_tick
        else:
            yield from ((tick, tick) for tick, *_ in _ticked(database, run_id, part))


def _parts(database: Database, run_id: int, from_tick: int) -> list[_Part]:
    with database.reading():
        spans = database.all(sql.STRETCH_SPANS, run_id, from_tick)
        rows = [(row[0], row[1], bool(row[2])) for row in database.all(sql.ROWS, run_id, from_tick)]
    parts = [
        _Part(row["first_tick"], row["last_tick"], row["ticks"], row["last_block"], None)
        for row in spans
    ]
    if rows:
        parts.append(_Part(rows[0][0], rows[-1][0], len(rows), 0, rows))
    return sorted(parts, key=lambda part: part.first_tick)


def _overlapping(parts: Iterable[_Part]) -> Iterator[list[_Part]]:
    """Give parts that share ticks together; nearly always that is one at a time."""
    together: list[_Part] = []
    last_tick = -1
    for part in parts:
        if together and part.first_tick > last_tick:
            yield together
            together = []
        together.append(part)
        last_tick = max(last_tick, part.last_tick) if len(together) > 1 else part.last_tick
    if together:
        yield together


def _ticked(database: Database, run_id: int, part: _Part) -> list[Ticked]:
    if part.rows is not None:
        return part.rows
    with told(database.path):
        return _of_blocks(packed_blocks(database, run_id, part.last_block))


def _of_blocks(blocks: Iterable[PackedBlock]) -> list[Ticked]:
    return sorted(
        (tick_of(octets), octets, block.rebuilt) for block in blocks for octets in block.records
    )
