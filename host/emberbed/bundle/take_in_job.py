"""Take a bundle's job into the bench record: as a job of its own, or into the one that it is.

Two records are of one job when they were opened at the same moment. Then the newer word on a
subject counts, and photographs, parts and tests are added that are not here; nothing is lost, as
the journal keeps what was. What is done twice changes nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from emberbed.bundle.read_job import BundledEntry, BundledJob
from emberbed.jobs import journal
from emberbed.jobs.kept_files import keep_bytes
from emberbed.store.database import Database

_ITEMS = ("photo", "part", "test")  # numbered by each store for itself
_TOLD = ("kind", "name", "note", "count", "passed", "minutes")  # of an item, what travels as it is
_SAME_JOB = "SELECT id FROM job WHERE opened_utc = ?"


@dataclass(frozen=True)
class JobTaken:
    """`number` is the job that the run belongs to here; `left_out`: that is another one, and the
    bundle's was not taken. `entries` counts what was new here."""

    number: int
    opened: bool = False
    entries: int = 0
    left_out: bool = False


def take_in_job(database: Database, run_id: int, job: BundledJob) -> JobTaken:
    """Keep a bundled job and let the run belong to it. Raises StoreError."""
    same = [row["id"] for row in database.all(_SAME_JOB, job.opened_utc)]
    has_run = journal.about(database, f"run/{run_id}")
    others = sorted(set(has_run) - set(same[:1]))
    if others:
        return JobTaken(others[0], left_out=True)
    for name, octets in job.files.items():
        keep_bytes(database, octets, name, f".{name.rpartition('.')[2]}")
    with database.writing():
        job_id = same[0] if same else journal.open_journal(database, job.opened_utc)
        fresh = list(_fresh(journal.history(database, job_id), job.entries))
        for one in fresh:
            subject = one.subject
            kind = subject.partition("/")[0]
            if kind in _ITEMS:
                subject = journal.next_item(database, job_id, kind)
            journal.add(database, job_id, one.entered_utc, subject, one.value)
        journal.write(database, job_id, {f"run/{run_id}": True})
    return JobTaken(job_id, opened=not same, entries=len(fresh))


def job_words(taken: JobTaken) -> str:
    """Return what became of a bundle's job, in a sentence."""
    see = f"see it with: emberbed job show {taken.number}"
    if taken.left_out:
        return f"The run belongs to job {taken.number} here, so the bundle's own is left out; {see}"
    if taken.opened:
        told = "as told where it comes from, and no fingerprint proves that"
        return f"Its job is stored here as job {taken.number}, {told}; {see}"
    news = {0: "nothing of it is new", 1: "1 entry is new"}
    more = news.get(taken.entries, f"{taken.entries} entries are new")
    return f"Its job is here already as job {taken.number}, {more}; {see}"


def _fresh(here: list[journal.Entry], told: tuple[BundledEntry, ...]) -> Iterator[BundledEntry]:
    """Give what is not here yet, and what is newer than what is."""
    newest = {entry.subject: entry.entered_utc for entry in here}
    items = [(_kind(entry.subject), entry.entered_utc, _content(entry.value)) for entry in here]
    for one in told:
        if _kind(one.subject) in _ITEMS:
            if (_kind(one.subject), one.entered_utc, _content(one.value)) not in items:
                yield one
        elif newest.get(one.subject, "") < one.entered_utc:
            yield one


def _kind(subject: str) -> str:
    return subject.partition("/")[0]


def _content(value: Any) -> Any:
    """Return an item without what a bundle leaves at home or draws anew."""
    if not isinstance(value, dict):
        return value
    return {key: value.get(key) for key in _TOLD}
