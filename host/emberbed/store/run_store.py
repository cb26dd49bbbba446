"""The run store: every run, record and event in one SQLite file.

`append` is one transaction of at most ten records; only after it returns may they be acknowledged
to the device. A record once stored is never changed; a run ends only by `end_run`, or as
interrupted once its writer is gone. Raises StoreError: one sentence naming the file and the mend.
One object per thread; other threads and processes may read while a run is written.
"""

import sqlite3
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from emberbed.plain_text import printable
from emberbed.records import TickRecord, decode_record, form_of
from emberbed.store import chain, processes, schema
from emberbed.store import statements as sql
from emberbed.store.audit import audit_run
from emberbed.store.columns import decoded_columns
from emberbed.store.database import Database, check_exists, default_path
from emberbed.store.faults import StoreError, told
from emberbed.store.runs import (
    Gap,
    Row,
    RunEnd,
    RunEvent,
    RunFacts,
    RunSummary,
    StoredRun,
    made,
    storable,
    utc_now,
)

MOST_RECORDS = 10


class RunStore:
    """An open run store; use it in a `with`, or close it."""

    def __init__(self, database: Database) -> None:
        self.path = database.path
        self._database = database

    @classmethod
    def open(cls, path: Path | str | None = None, *, create: bool = True) -> "RunStore":
        """Open the store at `path` (None: the default place); `create` allows a new one."""
        place = Path(path) if path is not None else default_path()
        if not create:
            check_exists(place)
        return cls(Database(place))

    def close(self) -> None:
        self._database.close()

    def __enter__(self) -> "RunStore":
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    # writing

    def begin_run(self, facts: RunFacts) -> int:
        """Store the header of a new run and return its number."""
        columns = {name: storable(value) for name, value in asdict(facts).items()}
        head = chain.header_hash(columns)
        columns |= processes.own_stamp()._asdict() | {"head_sha256": head}
        with self._database.writing():
            run_id = self._database.connection.execute(sql.INSERT_RUN, columns).lastrowid
            assert run_id is not None
            self._database.all(sql.INSERT_BLOCK, run_id, 0, None, None, 0, head)
        return run_id

    def append(self, run_id: int, records: list[bytes]) -> int:
        """Commit at most MOST_RECORDS records, in any order; return how many were new.

        A tick that is stored with equal bytes is skipped, with other bytes it is a StoreError and
        nothing of the batch is stored. ValueError for more records, or bytes that are no record.
        """
        if len(records) > MOST_RECORDS:
            raise ValueError(f"at most {MOST_RECORDS} records a transaction, not {len(records)}")
        offered = sorted((decode_record(octets).tick, bytes(octets)) for octets in records)
        with self._database.writing():
            self._check_open(run_id)
            fresh = self._not_yet_stored(run_id, offered)
            if fresh:
                self._store_block(run_id, fresh)
        return len(fresh)

    def add_event(self, run_id: int, tick: int | None, kind: str, sentence: str) -> None:
        """Commit one event of a run that is still open."""
        with self._database.writing():
            self._check_open(run_id)
            self._insert_event(run_id, tick, kind, sentence)

    def note_trip_counts(self, run_id: int, trip_counts: bytes) -> None:
        """Keep what the device answered to ARM: how often each cause had tripped before."""
        with self._database.writing():
            self._check_open(run_id)
            self._database.all(sql.NOTE_TRIP_COUNTS, trip_counts, run_id)

    def end_run(
        self,
        run_id: int,
        state: RunEnd,
        exit_code: int | None,
        *,
        trip: int = 0,
        limits_exceeded: int | None = None,
        ended_utc: str | None = None,
    ) -> None:
        """Close an open run with its verdict; nothing can be added to it afterwards."""
        if state not in schema.RUN_STATES or state == "open":
            raise ValueError(f"a run cannot end as {state!r}")
        with self._database.writing():
            self._check_open(run_id)
            self._close_run(
                run_id,
                state=state,
                exit_code=exit_code,
                ended_utc=ended_utc or utc_now(),
                trip=trip,
                limits_exceeded=limits_exceeded,
            )

    def mark_interrupted(self) -> list[int]:
        """Close the open runs whose writer is gone, as interrupted; return their numbers.

        Such a run ends where its record ends: at the last commit.
        """
        marked = []
        for run in self._database.all("SELECT * FROM run WHERE state = 'open' ORDER BY id"):
            stamp = processes.ProcessStamp(
                run["process_node"], run["process_id"], run["process_started"]
            )
            if processes.is_gone(stamp) and self._mark_one(run["id"]):
                marked.append(run["id"])
        return marked

    # reading

    def runs(self) -> list[RunSummary]:
        """Return all runs, oldest first."""
        rows = self._database.all(f"{sql.COUNTED} ORDER BY id")
        return [self._made(RunSummary, row) for row in rows]

    def run(self, run_id: int | str = "last") -> StoredRun:
        """Return one run by its number, or the newest for 'last'."""
        number = self._number_of(run_id)
        rows = self._database.all(f"{sql.COUNTED} WHERE id = ?", number)
        if not rows:
            raise self._no_such_run(run_id)
        return self._made(StoredRun, rows[0])

    def goes_on_as(self, run_id: int) -> int | None:
        """Return the run that went on with this one after its trip was mended, None for none."""
        return self._database.all(sql.GOES_ON_AS, run_id)[0][0]

    def raw_records(self, run_id: int, from_tick: int = 0) -> Iterator[bytes]:
        """Give the stored record bytes in tick order."""
        self.run(run_id)
        with told(self.path):
            for row in self._database.connection.execute(sql.RECORDS, (run_id, from_tick)):
                yield row[0]

    def records(self, run_id: int, from_tick: int = 0) -> Iterator[TickRecord]:
        """Give the stored records from `from_tick` on, decoded, in tick order."""
        form = form_of(self.run(run_id).plan)
        for octets in self.raw_records(run_id, from_tick):
            try:
                yield decode_record(octets, form)
            except (ValueError, TypeError) as error:
                raise StoreError(
                    f"{self.path} has a damaged record in run {run_id}; see what was changed with:"
                    f" emberbed runs audit {run_id}"
                ) from error

    def events(self, run_id: int) -> list[RunEvent]:
        """Return the events of a run in the order in which they were stored."""
        self.run(run_id)
        return [self._made(RunEvent, row) for row in self._database.all(sql.EVENTS, run_id)]

    def gaps(self, run_id: int) -> list[Gap]:
        """Return the spans of ticks that are missing between the first and the last stored one."""
        self.run(run_id)
        return [self._made(Gap, row) for row in self._database.all(sql.GAPS, run_id)]

    def audit(self, run_id: int) -> list[str]:
        """Return one sentence per sign of tampering or damage; none for an untouched run."""
        self.run(run_id)
        with self._database.reading():
            return audit_run(self._database.connection, run_id)

    def _made(self, kind: type[Row], row: sqlite3.Row) -> Row:
        try:
            return made(kind, row)
        except ValueError as error:
            raise StoreError(
                f"{self.path} is damaged ({error}); keep a copy of it and name another file with"
                " --store"
            ) from None

    # the parts; those that write run inside a transaction of their caller

    def _number_of(self, run_id: int | str) -> int | None:
        if run_id == "last":
            return self._database.all("SELECT max(id) FROM run")[0][0]
        try:
            number = int(run_id)
        except ValueError:
            return None
        return number if 0 < number < 2**63 else None

    def _no_such_run(self, run_id: int | str) -> StoreError:
        if run_id == "last":
            return StoreError(f"{self.path} has no runs yet; make one with: emberbed run PROFILE")
        return StoreError(
            f"{self.path} has no run {printable(run_id) or repr('')}; see those it has with:"
            " emberbed runs list"
        )

    def _check_open(self, run_id: int) -> None:
        rows = self._database.all("SELECT state FROM run WHERE id = ?", run_id)
        if not rows:
            raise self._no_such_run(run_id)
        state = rows[0]["state"]
        if state != "open":
            raise StoreError(f"{self.path} has closed run {run_id} as {state}; begin a new run")

    def _not_yet_stored(self, run_id: int, offered: list[tuple[int, bytes]]) -> dict[int, bytes]:
        fresh: dict[int, bytes] = {}
        for tick, octets in offered:
            stored = self._database.all(
                "SELECT record FROM tick WHERE run_id = ? AND tick = ?", run_id, tick
            )
            known = stored[0][0] if stored else fresh.get(tick, octets)
            if known != octets:
                raise StoreError(
                    f"{self.path} already has another record of tick {tick} in run {run_id};"
                    " look whether the device was restarted, then begin a new run"
                )
            if not stored:
                fresh[tick] = octets
        return fresh

    def _store_block(self, run_id: int, fresh: dict[int, bytes]) -> None:
        before = self._database.all(sql.LAST_BLOCK, run_id)[0]
        number = before["number"] + 1
        head = chain.block_hash(before["sha256"], fresh.values())
        self._database.all(
            sql.INSERT_BLOCK, run_id, number, min(fresh), max(fresh), len(fresh), head
        )
        rows = [
            {"run_id": run_id, "block": number, "record": octets}
            | decoded_columns(decode_record(octets))
            for octets in fresh.values()
        ]
        self._database.connection.executemany(sql.INSERT_TICK, rows)
        self._database.all(sql.SET_HEAD, head, utc_now(), run_id)

    def _insert_event(self, run_id: int, tick: int | None, kind: str, sentence: str) -> None:
        event = {"run_id": run_id, "tick": tick, "kind": kind, "sentence": storable(sentence)}
        self._database.connection.execute(sql.INSERT_EVENT, event)

    def _close_run(self, run_id: int, **closing: chain.Stored) -> None:
        before = self._database.all(sql.LAST_BLOCK, run_id)[0]
        (run,) = self._database.all(sql.RUN, run_id)
        events = [tuple(event) for event in self._database.all(sql.EVENTS, run_id)]
        head = chain.closing_hash(before["sha256"], {**dict(run), **closing}, events)
        number = before["number"] + 1
        self._database.all(sql.INSERT_BLOCK, run_id, number, None, None, 0, head)
        self._database.connection.execute(sql.CLOSE, {**closing, "head_sha256": head, "id": run_id})

    def _mark_one(self, run_id: int) -> bool:
        with self._database.writing():
            run = self.run(run_id)
            if run.state != "open":
                return False  # another process was quicker
            last = self._database.all(sql.LAST_TICK, run_id)
            tick, trip = last[0] if last else (None, 0)
            sentence = "The program on the PC ended before the run did; the record ends here."
            self._insert_event(run_id, tick, "interrupted", sentence)
            self._close_run(
                run_id,
                state="interrupted",
                exit_code=None,
                ended_utc=run.last_stored_utc,
                trip=trip,
                limits_exceeded=None,
            )
        return True
