"""The journal of each job in the store: who reads it sees the newest entry of every subject.

Nothing is ever changed or deleted: a correction is a new entry, `None` takes a subject back, and
the older entries stay as the job's history. Values are plain JSON. Raises StoreError; the caller
opens the transaction that a change belongs to (`database.writing()`).
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from emberbed.store.database import Database
from emberbed.store.faults import StoreError
from emberbed.store.runs import storable, utc_now

_OPEN = "INSERT INTO job (opened_utc) VALUES (?)"
_JOBS = "SELECT id, opened_utc FROM job ORDER BY id"
_JOB = "SELECT id, opened_utc FROM job WHERE id = ?"
_WRITE = """INSERT INTO job_entry SELECT ?, coalesce(max(number), 0) + 1, ?, ?, ?
    FROM job_entry WHERE job_id = ?"""
_ENTRIES = """SELECT number, entered_utc, subject, value FROM job_entry WHERE job_id = ?
    ORDER BY number"""
_ALL_ENTRIES = """SELECT job_id, number, entered_utc, subject, value FROM job_entry
    ORDER BY job_id, number"""
_ABOUT = """SELECT job_id, number, entered_utc, subject, value FROM job_entry AS entry
    WHERE subject = ? AND number = (SELECT max(number) FROM job_entry
        WHERE job_id = entry.job_id AND subject = entry.subject)
    ORDER BY job_id"""


@dataclass(frozen=True)
class Entry:
    """What was written about one subject of a job at one time; `value` None takes it back."""

    number: int
    entered_utc: str
    subject: str
    value: Any


@dataclass(frozen=True)
class Journal:
    """One job as its journal tells it now: the newest entry of each subject that stands."""

    job_id: int
    opened_utc: str
    entries: Mapping[str, Entry]

    def value(self, subject: str, otherwise: Any = None) -> Any:
        entry = self.entries.get(subject)
        return otherwise if entry is None else entry.value

    def below(self, kind: str) -> dict[str, Entry]:
        """Return the entries of the subjects `kind/...` by what follows, in order of entry."""
        head = f"{kind}/"
        found = [entry for entry in self.entries.values() if entry.subject.startswith(head)]
        found.sort(key=lambda entry: entry.number)
        return {entry.subject.removeprefix(head): entry for entry in found}


def open_journal(database: Database, opened_utc: str = "") -> int:
    """Begin an empty journal, now or at another time; return the number of its job."""
    job_id = database.connection.execute(_OPEN, (opened_utc or utc_now(),)).lastrowid
    assert job_id is not None
    return job_id


def write(database: Database, job_id: int, subjects: Mapping[str, Any]) -> int:
    """Add an entry for each subject whose value differs from what stands; return how many."""
    now = journal_of(database, job_id)
    fresh = {
        subject: value
        for subject, value in subjects.items()
        if value != now.value(subject)  # None for one that does not stand
    }
    for subject, value in fresh.items():
        add(database, job_id, utc_now(), subject, value)
    return len(fresh)


def add(database: Database, job_id: int, entered_utc: str, subject: str, value: Any) -> None:
    """Add an entry of any time, whatever stands; it is what counts from then on."""
    text = None if value is None else json.dumps(value, ensure_ascii=False, sort_keys=True)
    database.all(_WRITE, job_id, entered_utc, subject, storable(text), job_id)


def journal_of(database: Database, job_id: int) -> Journal:
    """Return a job's journal as it stands. StoreError for one that is not there."""
    rows = database.all(_JOB, job_id)
    if not rows:
        raise StoreError(
            f"{database.path} has no job {job_id}; see those it has with: emberbed job list"
        )
    return _journal(job_id, rows[0]["opened_utc"], history(database, job_id))


def journals(database: Database) -> list[Journal]:
    """Return all of them, the oldest first."""
    with database.reading():
        jobs = database.all(_JOBS)
        rows = database.all(_ALL_ENTRIES)
    entries: dict[int, list[Entry]] = {row["id"]: [] for row in jobs}
    for row in rows:
        entries[row["job_id"]].append(_entry(database, row))
    return [_journal(row["id"], row["opened_utc"], entries[row["id"]]) for row in jobs]


def history(database: Database, job_id: int) -> list[Entry]:
    """Return every entry of a job, the oldest first."""
    return [_entry(database, row) for row in database.all(_ENTRIES, job_id)]


def about(database: Database, subject: str) -> dict[int, Any]:
    """Return what each job says of one subject, by its number; jobs that say nothing are left
    out."""
    found = {row["job_id"]: _entry(database, row).value for row in database.all(_ABOUT, subject)}
    return {job_id: value for job_id, value in found.items() if value is not None}


def next_item(database: Database, job_id: int, kind: str) -> str:
    """Return the subject of a new item, such as part/3; a number is never used again."""
    head = f"{kind}/"
    used = [
        int(entry.subject.removeprefix(head))
        for entry in history(database, job_id)
        if entry.subject.startswith(head)
    ]
    return f"{head}{max(used, default=0) + 1}"


def _journal(job_id: int, opened_utc: str, entries: list[Entry]) -> Journal:
    newest = {entry.subject: entry for entry in entries}
    stands = {subject: entry for subject, entry in newest.items() if entry.value is not None}
    return Journal(job_id, opened_utc, stands)


def _entry(database: Database, row: Any) -> Entry:
    try:
        value = None if row["value"] is None else json.loads(row["value"])
    except (ValueError, TypeError):
        raise StoreError(
            f"{database.path} has a damaged entry ({row['number']}) in a job; keep a copy of it and"
            " name another file with --store"
        ) from None
    return Entry(row["number"], row["entered_utc"], row["subject"], value)
