"""Check a stored run against its hash chain and its own decoded columns.

Gives one sentence per finding, none for an untouched run. After a broken link it goes on from the
stored hash, so that each sentence names a place where something was changed, not all that follow.
"""

import sqlite3
from collections.abc import Iterator

from emberbed.records import decode_record, form_of
from emberbed.store import chain
from emberbed.store.columns import decoded_columns
from emberbed.store.runs import Block, made

_RUN = "SELECT * FROM run WHERE id = ?"
_EVENTS = f"SELECT {', '.join(chain.EVENT_COLUMNS)} FROM event WHERE run_id = ? ORDER BY number"
_BLOCKS = "SELECT * FROM block WHERE run_id = ? ORDER BY number"
_TICKS = "SELECT * FROM tick WHERE run_id = ? AND block = ? AND tick BETWEEN ? AND ? ORDER BY tick"


def audit_run(connection: sqlite3.Connection, run_id: int) -> list[str]:
    """Return what does not fit in run `run_id`; an empty list means nothing was found."""
    run = dict(connection.execute(_RUN, (run_id,)).fetchone())
    try:
        blocks = [made(Block, row) for row in connection.execute(_BLOCKS, (run_id,))]
    except ValueError as error:
        return [f"The chain was changed or is damaged: {error}."]
    findings = list(_missing_blocks(blocks))
    findings += _check_header(run, blocks)
    data = [block for block in blocks if block.ticks]
    before = {block.number + 1: block.sha256 for block in blocks}
    for block in data:
        findings += _check_block(connection, run, block, before.get(block.number))
    findings += _check_count(connection, run_id, data)
    findings += _check_end(connection, run, blocks)
    return findings


def _missing_blocks(blocks: list[Block]) -> Iterator[str]:
    expected = 0
    for block in blocks:
        if block.number != expected:
            yield f"Blocks {expected} to {block.number - 1} of the chain are missing."
        expected = block.number + 1


def _check_header(run: chain.Row, blocks: list[Block]) -> Iterator[str]:
    if not blocks or blocks[0].sha256 != chain.header_hash(run):
        yield "The run's header (profile, settings, device, firmware, start or link) was changed."


def _check_block(
    connection: sqlite3.Connection, run: chain.Row, block: Block, before: bytes | None
) -> Iterator[str]:
    first, last = block.first_tick, block.last_tick
    span = f"ticks {first} to {last}"
    rows = connection.execute(_TICKS, (run["id"], block.number, first, last)).fetchall()
    if len(rows) != block.ticks:
        missing = block.ticks - len(rows)
        yield f"Of {span}, {missing} of {block.ticks} records are missing."
        return
    plan = run["plan"]
    form = form_of(plan if isinstance(plan, bytes) else b"")
    for row in rows:
        yield from _check_row(row, form)
    if before is None:
        return  # the block before is missing, which has been said
    if any(not isinstance(row["record"], bytes) for row in rows):
        return
    if chain.block_hash(before, [row["record"] for row in rows]) != block.sha256:
        yield f"The records or the hash of {span} were changed, swapped or replaced."


def _check_row(row: sqlite3.Row, form: int) -> Iterator[str]:
    try:
        record = decode_record(row["record"], form)
    except (ValueError, TypeError):
        yield f"The record of tick {row['tick']} is not a whole record any more."
        return
    columns = decoded_columns(record)
    for name, number in columns.items():
        if row[name] != number:
            yield (
                f"Tick {row['tick']}: the column {name} says {row[name]}, its record says {number}."
            )


def _check_count(connection: sqlite3.Connection, run_id: int, blocks: list[Block]) -> Iterator[str]:
    counted = connection.execute("SELECT count(*) FROM tick WHERE run_id = ?", (run_id,))
    surplus = counted.fetchone()[0] - sum(block.ticks for block in blocks)
    if surplus > 0:
        yield f"There are {surplus} more records than the chain covers."


def _check_end(
    connection: sqlite3.Connection, run: chain.Row, blocks: list[Block]
) -> Iterator[str]:
    head, state = run["head_sha256"], run["state"]
    if not blocks or head != blocks[-1].sha256:
        yield "The end was cut off or replaced: the last block is not the head kept with the run."
        return
    closed = blocks[-1].number > 0 and not blocks[-1].ticks
    if closed == (state == "open"):
        yield f"The run says {state}, but its chain is {'closed' if closed else 'not closed'}."
        return
    if closed:
        events = [tuple(event) for event in connection.execute(_EVENTS, (run["id"],))]
        before = blocks[-2].sha256 if len(blocks) > 1 else b""
        if chain.closing_hash(before, run, events) != head:
            yield (
                "The verdict, the exit code, the end, the trips before or an event was changed"
                " after the run."
            )
