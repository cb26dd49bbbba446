"""Write to an open run: its blocks, their packing into stretches, its end.

Every function runs inside a transaction of its caller and leaves the chain whole.
"""

from binascii import crc32
from collections.abc import Iterator, Mapping, Sequence

from emberbed.records import TickRecord, decode_record
from emberbed.store import chain, contents
from emberbed.store import statements as sql
from emberbed.store.columns import decoded_columns
from emberbed.store.database import Database
from emberbed.store.faults import StoreError
from emberbed.store.runs import Block, made, storable, utc_now
from emberbed.store.stretches import STRETCH_TICKS, PackedBlock, pack


def not_yet_stored(
    database: Database, run_id: int, offered: Sequence[tuple[int, bytes]]
) -> dict[int, bytes]:
    """Return which of these (tick, record), in order of ticks, are new.

    StoreError when the store has another record of a tick.
    """
    if not offered:
        return {}
    stored = contents.stored_among(database, run_id, offered[0][0], offered[-1][0])
    fresh: dict[int, bytes] = {}
    for tick, octets in offered:
        if stored.get(tick, fresh.get(tick, octets)) != octets:
            raise StoreError(
                f"{database.path} already has another record of tick {tick} in run {run_id};"
                " look whether the device was restarted, then begin a new run"
            )
        if tick not in stored:
            fresh[tick] = octets
    return fresh


def insert_event(
    database: Database, run_id: int, tick: int | None, kind: str, sentence: str
) -> None:
    """Add one event."""
    event = {"run_id": run_id, "tick": tick, "kind": kind, "sentence": storable(sentence)}
    database.connection.execute(sql.INSERT_EVENT, event)


def last_link(database: Database, run_id: int) -> tuple[int, bytes]:
    """Return number and hash of a run's newest block, wherever it lies."""
    rows = database.all(sql.LAST_BLOCK, run_id) + database.all(sql.LAST_STRETCH, run_id)
    newest = max(rows, key=lambda row: row["number"])
    return newest["number"], newest["sha256"]


def store_block(database: Database, run_id: int, fresh: Mapping[int, bytes], rebuilt: bool) -> None:
    """Add one block of records, given by their ticks in order; pack when a minute is full."""
    before, before_hash = last_link(database, run_id)
    head = chain.block_hash(before_hash, fresh.values(), rebuilt)
    block = (run_id, before + 1, min(fresh), max(fresh), len(fresh), head, int(rebuilt))
    database.all(sql.INSERT_BLOCK, *block)
    rows = [
        {"run_id": run_id, "block": before + 1, "record": octets, **_columns(octets)}
        for octets in fresh.values()
    ]
    database.connection.executemany(sql.INSERT_TICK, rows)
    database.all(sql.SET_HEAD, head, utc_now(), run_id)
    if database.all(sql.UNPACKED_TICKS, run_id)[0][0] >= STRETCH_TICKS:
        pack_blocks(database, run_id)


def _columns(octets: bytes) -> dict[str, int | None]:
    record: TickRecord = decode_record(octets)
    return decoded_columns(record)


def pack_blocks(database: Database, run_id: int) -> None:
    """Pack the blocks that lie as rows. What is damaged stays as it is, for the audit to name."""
    for blocks, packed in _stretches(database, run_id):
        first, last = blocks[0].number, blocks[-1].number
        octets = pack(packed)
        spans = [(block.first_tick or 0, block.last_tick or 0) for block in blocks]
        database.all(
            sql.INSERT_STRETCH, run_id, first, last, min(span[0] for span in spans),
            max(span[1] for span in spans), sum(block.ticks for block in blocks),
            blocks[-1].sha256, octets, crc32(octets),
        )  # fmt: skip
        database.all(sql.FORGET_ROWS, run_id, first, last)
        database.all(sql.FORGET_BLOCKS, run_id, first, last)


def _stretches(database: Database, run_id: int) -> Iterator[tuple[list[Block], list[PackedBlock]]]:
    """Give the blocks that lie as rows, a stretch at a time, up to the first that is damaged."""
    blocks: list[Block] = []
    packed: list[PackedBlock] = []
    for row in database.all(sql.BLOCKS, run_id):
        block = made(Block, row)
        if not block.ticks:
            continue  # header and closing have no records
        records = [row["record"] for row in database.all(sql.ROWS_OF_BLOCK, run_id, block.number)]
        whole = len(records) == block.ticks and all(isinstance(one, bytes) for one in records)
        if not whole or (blocks and block.number != blocks[-1].number + 1):
            break
        blocks.append(block)
        packed.append(PackedBlock(bool(block.rebuilt), tuple(records)))
        if sum(one.ticks for one in blocks) >= STRETCH_TICKS:
            yield blocks, packed
            blocks, packed = [], []
    if blocks:
        yield blocks, packed


def close_run(database: Database, run_id: int, **closing: chain.Stored) -> None:
    """Pack what is left, and put the closing block over it."""
    pack_blocks(database, run_id)
    before, before_hash = last_link(database, run_id)
    (run,) = database.all(sql.RUN, run_id)
    closing["closing_form"] = chain.CLOSING_FORM
    events = [tuple(event) for event in database.all(sql.EVENTS, run_id)]
    snapshots = [tuple(snapshot) for snapshot in database.all(sql.SNAPSHOTS, run_id)]
    head = chain.closing_hash(before_hash, {**dict(run), **closing}, events, snapshots)
    database.all(sql.INSERT_BLOCK, run_id, before + 1, None, None, 0, head, 0)
    database.connection.execute(sql.CLOSE, {**closing, "head_sha256": head, "id": run_id})


def add_note(database: Database, run_id: int, noted_utc: str, sentence: str) -> None:
    """Add a note to a run, open or ended."""
    number = len(database.all(sql.NOTES, run_id)) + 1
    database.all(sql.INSERT_NOTE, run_id, number, noted_utc, sentence)
    seal_later(database, run_id)


def seal_later(database: Database, run_id: int) -> None:
    """Put the hash over what came to a run later."""
    (run,) = database.all(sql.RUN, run_id)
    notes = [tuple(note) for note in database.all(sql.NOTES, run_id)]
    database.all(sql.SET_LATER, chain.later_hash(dict(run), notes), run_id)
