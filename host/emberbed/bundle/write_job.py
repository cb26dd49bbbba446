"""The job that a run belongs to, as entries of its bundle: as it stands, and what is fit to travel.

What leaves the shop is no more than elsewhere: photographs are drawn anew, so that place and camera
stay at home, and so do amounts of money. Copies that are lost are left out.
"""

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from emberbed.bundle import layout
from emberbed.bundle.layout import BundleError
from emberbed.jobs import journal
from emberbed.jobs.book import JobBook
from emberbed.jobs.kept_files import whole_path_of
from emberbed.jobs.model import Job
from emberbed.jobs.run_figures import job_of_run
from emberbed.store.database import Database
from emberbed.store.run_store import RunStore

_STAYS = ("run", "worth")  # numbers of other runs say nothing elsewhere


def job_for(store: RunStore, run_id: int) -> Job | None:
    """Return the job that would go along with a run."""
    return job_of_run(store, JobBook(store).jobs(), run_id)


def job_entries(store: RunStore, job: Job) -> dict[str, bytes]:
    """Return the entries that a job is. Raises BundleError for one that is too large."""
    now = journal.journal_of(store.database, job.id)
    files: dict[str, bytes] = {}
    entries = list(_entries(store.database, now, files))
    told = {"job": job.id, "opened_utc": job.opened_utc, "entries": entries}
    packed = {layout.JOB: json.dumps(told, ensure_ascii=False, indent=1).encode()}
    packed |= {f"{layout.JOB_FOLDER}{name}": octets for name, octets in files.items()}
    if sum(map(len, packed.values())) > layout.MOST_JOB_BYTES:
        most = layout.MOST_JOB_BYTES // layout.MIB
        raise BundleError(
            f"Job {job.id} has more than {most} MiB of photographs and logs: leave it out with"
            " --without-job"
        )
    return packed


def _entries(
    database: Database, now: journal.Journal, files: dict[str, bytes]
) -> Iterator[list[Any]]:
    """Give time, subject and value of what stands; put the files that these name into `files`."""
    for entry in sorted(now.entries.values(), key=lambda one: one.number):
        kind = entry.subject.partition("/")[0]
        value = entry.value
        if kind in _STAYS:
            continue
        if kind == "part":
            value = {**value, "each": None}
        if kind == "test" and value["log"]:
            value = {**value, "log": _with_file(value["log"], _log(database, value["log"]), files)}
        if kind == "photo":
            value = _with_file(value, _photo(database, value), files)
            if value is None:
                continue
        yield [entry.entered_utc, entry.subject, value]


def _with_file(value: Any, octets: bytes | None, files: dict[str, bytes]) -> Any:
    """Return what names a file, naming it by these bytes; None where they are lost."""
    if octets is None:
        return None
    suffix = value["file"].rpartition(".")[2]
    name = f"{hashlib.sha256(octets).hexdigest()}.{'csv' if suffix == 'csv' else 'jpg'}"
    files[name] = octets
    return {**value, "file": name}


def _log(database: Database, log: Any) -> bytes | None:
    path = whole_path_of(database, log["file"])
    return path.read_bytes() if path else None


def _photo(database: Database, photo: Any) -> bytes | None:
    from emberbed.report.photos import PhotoError, read_photo  # pillow: only when it is needed

    path = whole_path_of(database, photo["file"])
    try:
        return read_photo(path).jpeg if path else None
    except PhotoError:
        return None
