"""Take runs out of a store: for good, or into another store file with their whole chains.

What went is written first into a file of JSON lines beside the store, which is only added to: when,
which run, its fingerprint, where it went. Then all of it goes in one transaction. A run that is
being recorded stays, and one from which a run that stays goes on. Raises StoreError, BundleError.
"""

import json
import os
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from emberbed.bundle.layout import BundleError
from emberbed.bundle.read import read_bundle
from emberbed.bundle.take_in import take_in
from emberbed.bundle.take_in_job import take_in_job
from emberbed.bundle.write import write_bundle
from emberbed.bundle.write_job import job_for
from emberbed.jobs import journal
from emberbed.store import statements as sql
from emberbed.store.database import Database
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun, utc_now

SUFFIX = "-removed.jsonl"
_LINKED = "SELECT id FROM run WHERE linked_to = ?"
_FORGET = (
    "UPDATE placement SET run_id = NULL WHERE run_id = ?",
    "DELETE FROM tick WHERE run_id = ?",
    "DELETE FROM block WHERE run_id = ?",
    "DELETE FROM stretch WHERE run_id = ?",
    "DELETE FROM snapshot WHERE run_id = ?",
    "DELETE FROM event WHERE run_id = ?",
    "DELETE FROM note WHERE run_id = ?",
    "DELETE FROM run WHERE id = ?",
)


def record_path(store: RunStore) -> Path:
    """Return the file that tells what was taken out of a store."""
    return store.path.with_name(f"{store.path.stem}{SUFFIX}")


def jobs_with(store: RunStore, run: StoredRun) -> list[int]:
    """Return the jobs of the bench record that have a run, and will have it no more."""
    return sorted(journal.about(store.database, f"run/{run.id}"))


def check_may_go(store: RunStore, runs: Sequence[StoredRun]) -> None:
    """Raise StoreError for a run that has to stay."""
    going = {run.id for run in runs}
    for run in runs:
        if run.state == "open":
            raise StoreError(
                f"Run {run.id} is still open: wait for its end, or take it over with: emberbed run"
                " --resume"
            )
        later = {row["id"] for row in store.database.all(_LINKED, run.id)} - going
        if later:
            raise StoreError(
                f"Run {run.id} cannot go alone, as run {min(later)} goes on from it: name both"
            )


def remove(store: RunStore, runs: Sequence[StoredRun], to: str = "") -> None:
    """Take runs out; `to` is the file that has them now, '' for none."""
    check_may_go(store, runs)
    _record(store, runs, to)
    with store.database.writing():
        for run in sorted(runs, key=lambda one: one.id, reverse=True):  # what goes on goes first
            for job_id in jobs_with(store, run):
                journal.write(store.database, job_id, {f"run/{run.id}": None})
            for statement in _FORGET:
                store.database.all(statement, run.id)


def archive(store: RunStore, runs: Sequence[StoredRun], other: RunStore) -> None:
    """Move runs into another store; each is audited there before it goes here."""
    check_may_go(store, runs)
    for run in sorted(runs, key=lambda one: one.id):
        signs = store.audit(run.id)
        if signs:
            see = f"see it with: emberbed runs audit {run.id}"
            raise StoreError(f"Run {run.id} was changed after it was recorded and stays: {see}")
    with TemporaryDirectory() as folder:
        for run in sorted(runs, key=lambda one: one.id):
            path = Path(folder) / f"run-{run.id}.zip"
            write_bundle(store, run, path, job_for(store, run.id))
            found = read_bundle(path)
            here, _there_already = take_in(other, found, path)
            if found.job is not None:
                take_in_job(other.database, here, found.job)
            _copy_firmware(store.database, other.database, run)
            if other.audit(here) or other.run(here).head_sha256 != run.head_sha256:
                raise BundleError(f"Run {run.id} did not arrive whole in {other.path}: it stays")
    remove(store, runs, str(other.path))


def _copy_firmware(source: Database, target: Database, run: StoredRun) -> None:
    """Take along the firmware that replays the run, if it is kept."""
    digest = run.firmware_digest
    with target.writing():
        for row in source.all(sql.FIRMWARE_LIKE, len(digest), digest):
            target.all(sql.INSERT_FIRMWARE, row["digest"], row["version"], row["sources"])


def _record(store: RunStore, runs: Sequence[StoredRun], to: str) -> None:
    """Write down what goes, on the disk when it returns."""
    path, now = record_path(store), utc_now()
    lines = [
        {
            "removed_utc": now,
            "run": run.id,
            "started_utc": run.started_utc,
            "profile": run.profile_name,
            "state": run.state,
            "head_sha256": run.head_sha256,
            "to": to,
        }
        for run in runs
    ]
    try:
        with path.open("a", encoding="utf-8", newline="\n") as stream:
            stream.writelines(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise StoreError(
            f"{path} cannot be written ({error.strerror}), so nothing is removed: give yourself the"
            " right to write there"
        ) from None
