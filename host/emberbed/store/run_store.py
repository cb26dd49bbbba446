"""The run store: every run, record and event in one SQLite file.

`append` is one transaction of at most ten records; only after it returns may they be acknowledged
to the device. A record once stored is never changed; a run ends only by `end_run`, or as
interrupted once its writer is gone. Raises StoreError: one sentence naming the file and the mend.
One object per thread; other threads and processes may read while a run is written.
"""

from dataclasses import asdict
from pathlib import Path

from emberbed.records import decode_record
from emberbed.store import chain, left_open, processes, schema, writing
from emberbed.store import statements as sql
from emberbed.store.database import Database, check_exists, default_path
from emberbed.store.faults import StoreError
from emberbed.store.kept_firmware import keep_installed
from emberbed.store.run_reader import RunReader
from emberbed.store.runs import (
    RunEnd,
    RunFacts,
    storable,
    utc_now,
)

MOST_RECORDS = 10


class RunStore(RunReader):
    """An open run store; use it in a `with`, or close it."""

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
            keep_installed(self._database, facts.firmware_digest, facts.firmware_version)
            run_id = self._database.connection.execute(sql.INSERT_RUN, columns).lastrowid
            assert run_id is not None
            self._database.all(sql.INSERT_BLOCK, run_id, 0, None, None, 0, head, 0)
        return run_id

    def append(self, run_id: int, records: list[bytes], *, rebuilt: bool = False) -> int:
        """Commit at most MOST_RECORDS records, in any order; return how many were new.

        A tick that is stored with equal bytes is skipped, with other bytes it is a StoreError and
        nothing of the batch is stored. ValueError for more records, or bytes that are no record.
        `rebuilt`: their outputs did not come from the device, but by replay of its inputs.
        """
        if len(records) > MOST_RECORDS:
            raise ValueError(f"at most {MOST_RECORDS} records a transaction, not {len(records)}")
        offered = sorted((decode_record(octets).tick, bytes(octets)) for octets in records)
        with self._database.writing():
            self._check_open(run_id)
            fresh = writing.not_yet_stored(self._database, run_id, offered)
            if fresh:
                writing.store_block(self._database, run_id, fresh, rebuilt)
        return len(fresh)

    def add_snapshot(self, run_id: int, tick: int, numbers: bytes) -> None:
        """Commit the device's memory after `tick` (snapshots.py), of a run still open."""
        with self._database.writing():
            self._check_open(run_id)
            self._database.all(sql.INSERT_SNAPSHOT, run_id, tick, numbers)

    def add_note(self, run_id: int, sentence: str) -> None:
        """Commit what a person writes about a run, open or ended."""
        self.run(run_id)
        with self._database.writing():
            writing.add_note(self._database, run_id, utc_now(), str(storable(sentence)))

    def add_event(self, run_id: int, tick: int | None, kind: str, sentence: str) -> None:
        """Commit one event of a run that is still open."""
        with self._database.writing():
            self._check_open(run_id)
            writing.insert_event(self._database, run_id, tick, kind, sentence)

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
            writing.close_run(
                self._database,
                run_id,
                state=state,
                exit_code=exit_code,
                ended_utc=ended_utc or utc_now(),
                trip=trip,
                limits_exceeded=limits_exceeded,
            )

    def mark_interrupted(self, begins_on: str | None = None) -> list[int]:
        """Close the open runs whose writer is gone, as interrupted; return their numbers.

        Such a run ends where its record ends: at the last commit. Those that may be taken over stay
        open, unless a new run begins on their device.
        """
        gone = left_open.ended_for_good(self._database, begins_on)
        return [run_id for run_id in gone if self._mark_one(run_id)]

    # inside a transaction of their caller

    def _check_open(self, run_id: int) -> None:
        rows = self._database.all("SELECT state FROM run WHERE id = ?", run_id)
        if not rows:
            raise self._no_such_run(run_id)
        state = rows[0]["state"]
        if state != "open":
            raise StoreError(f"{self.path} has closed run {run_id} as {state}; begin a new run")

    def _mark_one(self, run_id: int) -> bool:
        with self._database.writing():
            run = self.run(run_id)
            if run.state != "open":
                return False  # another process was quicker
            newest = self._newest(run)
            sentence = "The program on the PC ended before the run did; the record ends here."
            writing.insert_event(self._database, run_id, run.last_tick, "interrupted", sentence)
            writing.close_run(
                self._database,
                run_id,
                state="interrupted",
                exit_code=None,
                ended_utc=run.last_stored_utc,
                trip=newest.trip if newest else 0,
                limits_exceeded=None,
            )
        return True
