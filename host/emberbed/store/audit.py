"""Check a stored run against its hash chain and its own decoded columns.

Gives one sentence per finding, none for an untouched run. After a broken link it goes on from the
stored hash, so that each sentence names a place where something was changed, not all that follow.
"""

import sqlite3
from collections.abc import Iterator

from emberbed.firmware_sources import digest_of, unzipped
from emberbed.records import decode_record, form_of
from emberbed.store import chain
from emberbed.store import statements as sql
from emberbed.store.audit_links import Link, links_of
from emberbed.store.columns import decoded_columns

_EVENTS = f"SELECT {', '.join(chain.EVENT_COLUMNS)} FROM event WHERE run_id = ? ORDER BY number"
_SNAPSHOTS = f"SELECT {', '.join(chain.SNAPSHOT_COLUMNS)} FROM snapshot WHERE run_id = ?"
_NOTES = f"SELECT {', '.join(chain.NOTE_COLUMNS)} FROM note WHERE run_id = ? ORDER BY number"
_TICKS = "SELECT * FROM tick WHERE run_id = ? AND block = ? AND tick BETWEEN ? AND ? ORDER BY tick"

_NO_TICKS = (None, None, False)  # of the header and the closing block


def audit_run(connection: sqlite3.Connection, run_id: int) -> list[str]:
    """Return what does not fit in run `run_id`; an empty list means nothing was found."""
    run = dict(connection.execute(sql.RUN, (run_id,)).fetchone())
    try:
        links = links_of(connection, run_id)
    except ValueError as error:
        return [f"The chain was changed or is damaged: {error}."]
    findings = list(_missing_blocks(links))
    findings += _check_header(run, links)
    before = {link.last_block + 1: link.sha256 for link in links}
    for link in links:
        if not link.ticks and (link.first_tick, link.last_tick, link.rebuilt) != _NO_TICKS:
            findings.append(f"Block {link.first_block} of the chain has ticks where none can be.")
        if link.ticks:
            findings += _check_link(connection, run, link, before.get(link.first_block))
    findings += _check_count(connection, run_id, links)
    findings += _check_end(connection, run, links)
    findings += _check_later(connection, run)
    findings += _check_firmware(connection, run)
    return findings


def _missing_blocks(links: list[Link]) -> Iterator[str]:
    expected = 0
    for link in links:
        if link.first_block > expected:
            yield f"Blocks {expected} to {link.first_block - 1} of the chain are missing."
        elif link.first_block < expected or link.last_block < link.first_block:
            yield f"Block {link.first_block} of the chain is there twice, or ends before it begins."
        expected = link.last_block + 1


def _check_header(run: chain.Row, links: list[Link]) -> Iterator[str]:
    first = links[0] if links else None
    if first is None or first.ticks or first.sha256 != chain.header_hash(run):
        yield "The run's header (profile, settings, device, firmware, start or link) was changed."


def _check_link(
    connection: sqlite3.Connection, run: chain.Row, link: Link, before: bytes | None
) -> Iterator[str]:
    span = f"ticks {link.first_tick} to {link.last_tick}"
    if link.damage:
        yield f"The records of {span} cannot be read any more: {link.damage}."
        return
    if link.blocks is None:
        rows = _rows(connection, run, link)
        if len(rows) != link.ticks:
            missing = link.ticks - len(rows)
            yield f"Of {span}, {missing} of {link.ticks} records are missing."
            return
        if (rows[0]["tick"], rows[-1]["tick"]) != (link.first_tick, link.last_tick):
            yield f"The block of {span} does not begin or end with these ticks."
        plan = run["plan"]
        form = form_of(plan if isinstance(plan, bytes) else b"")
        for row in rows:
            yield from _check_row(row, form)
        if any(not isinstance(row["record"], bytes) for row in rows):
            return
        link = link.with_records(tuple(row["record"] for row in rows))
    if before is None:
        return  # the block before is missing, which has been said
    if link.hash_after(before) != link.sha256:
        yield f"The records or the hash of {span} were changed, swapped or replaced."


def _rows(connection: sqlite3.Connection, run: chain.Row, link: Link) -> list[sqlite3.Row]:
    at = (run["id"], link.first_block, link.first_tick, link.last_tick)
    return connection.execute(_TICKS, at).fetchall()


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


def _check_count(connection: sqlite3.Connection, run_id: int, links: list[Link]) -> Iterator[str]:
    counted = connection.execute("SELECT count(*) FROM tick WHERE run_id = ?", (run_id,))
    in_rows = (link.ticks for link in links if link.blocks is None and not link.damage)
    surplus = counted.fetchone()[0] - sum(in_rows)
    if surplus > 0:
        yield f"There are {surplus} more records than the chain covers."


def _check_end(connection: sqlite3.Connection, run: chain.Row, links: list[Link]) -> Iterator[str]:
    head, state = run["head_sha256"], run["state"]
    if not links or head != links[-1].sha256:
        yield "The end was cut off or replaced: the last block is not the head kept with the run."
        return
    closed = links[-1].first_block > 0 and not links[-1].ticks
    if closed == (state == "open"):
        yield f"The run says {state}, but its chain is {'closed' if closed else 'not closed'}."
        return
    if closed:
        before = links[-2].sha256 if len(links) > 1 else b""
        events = _all(connection, _EVENTS, run)
        snapshots = _all(connection, f"{_SNAPSHOTS} ORDER BY tick", run)
        if chain.closing_hash(before, run, events, snapshots) != head:
            yield (
                "The verdict, the exit code, the end, the trips before, the writer, a snapshot or"
                " an event was changed after the run."
            )


def _check_later(connection: sqlite3.Connection, run: chain.Row) -> Iterator[str]:
    if chain.later_hash(run, _all(connection, _NOTES, run)) != run["later_sha256"]:
        yield "A note about the run, or where it comes from, was changed, added or taken away."


def _check_firmware(connection: sqlite3.Connection, run: chain.Row) -> Iterator[str]:
    told = run["firmware_digest"]
    rows = connection.execute(sql.FIRMWARE_LIKE, (len(told), told)) if isinstance(told, str) else ()
    for row in rows:
        try:
            whole = digest_of(unzipped(row["sources"])).hex() == row["digest"]
        except (ValueError, TypeError):
            whole = False
        if not whole:
            yield "The firmware that the store keeps for this run was changed."


def _all(connection: sqlite3.Connection, statement: str, run: chain.Row) -> list[tuple]:
    return [tuple(row) for row in connection.execute(statement, (run["id"],))]
