"""Read the runs of a store: each by its number, its records, events, notes, gaps, and its audit.

Raises StoreError: one sentence naming the file and the mend. Others may write meanwhile.
"""

import sqlite3
from collections.abc import Iterator

from emberbed.plain_text import printable
from emberbed.records import TickRecord, decode_record, form_of
from emberbed.store import contents
from emberbed.store import statements as sql
from emberbed.store.audit import audit_run
from emberbed.store.database import Database
from emberbed.store.faults import StoreError
from emberbed.store.runs import Gap, Note, Row, RunEvent, RunSummary, Snapshot, StoredRun, made


class RunReader:
    """What can be asked of an open store."""

    def __init__(self, database: Database) -> None:
        self.path = database.path
        self._database = database

    @property
    def database(self) -> Database:
        """The file under it, for the other modules of the store."""
        return self._database

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
        for _tick, octets, _rebuilt in self._ticked(run_id, from_tick):
            yield octets

    def records(self, run_id: int, from_tick: int = 0) -> Iterator[TickRecord]:
        """Give the stored records from `from_tick` on, decoded, in tick order."""
        for record, _rebuilt in self.marked_records(run_id, from_tick):
            yield record

    def marked_records(self, run_id: int, from_tick: int = 0) -> Iterator[tuple[TickRecord, bool]]:
        """Give the same with whether each was rebuilt from what the device had kept."""
        form = form_of(self.run(run_id).plan)
        for _tick, octets, rebuilt in self._ticked(run_id, from_tick):
            try:
                record = decode_record(octets, form)
            except (ValueError, TypeError) as error:
                raise self._damaged(run_id) from error
            yield record, rebuilt

    def _ticked(self, run_id: int, from_tick: int) -> Iterator[contents.Ticked]:
        self.run(run_id)
        try:
            yield from contents.ticked_records(self._database, run_id, from_tick)
        except (ValueError, TypeError) as error:
            raise self._damaged(run_id) from error

    def events(self, run_id: int) -> list[RunEvent]:
        """Return the events of a run in the order in which they were stored."""
        self.run(run_id)
        return [self._made(RunEvent, row) for row in self._database.all(sql.EVENTS, run_id)]

    def notes(self, run_id: int) -> list[Note]:
        """Return what people wrote about a run, in its order."""
        self.run(run_id)
        return [self._made(Note, row) for row in self._database.all(sql.NOTES, run_id)]

    def snapshots(self, run_id: int) -> list[Snapshot]:
        """Return the device's snapshots of a run, the oldest first."""
        self.run(run_id)
        return [self._made(Snapshot, row) for row in self._database.all(sql.SNAPSHOTS, run_id)]

    def gaps(self, run_id: int) -> list[Gap]:
        """Return the spans of ticks that are missing between the first and the last stored one."""
        self.run(run_id)
        try:
            return list(contents.gaps(self._database, run_id))
        except ValueError as error:
            raise self._damaged(run_id) from error

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

    def _damaged(self, run_id: int) -> StoreError:
        return StoreError(
            f"{self.path} has a damaged record in run {run_id}; see what was changed with:"
            f" emberbed runs audit {run_id}"
        )

    def _newest(self, run: StoredRun) -> TickRecord | None:
        """Return a run's last record; None when there is none that can be read."""
        try:
            return next(self.records(run.id, run.last_tick or 0), None)
        except StoreError:
            return None
