"""Runs that a program left open: whose writer is gone, and which of them may be taken over.

A virtual device ends with the program that started it. Any other device lives on and keeps what it
measures, so a run on it stays open until it is taken over or another begins on the same device.
"""

from emberbed.store import processes
from emberbed.store import statements as sql
from emberbed.store.database import Database
from emberbed.store.faults import StoreError

VIRTUAL = "virtual"  # the device's name in runs on the simulated heater


def abandoned(database: Database) -> list[tuple[int, str]]:
    """Return number and device of the open runs whose writer is gone, the oldest first."""
    return [
        (run["id"], run["device"])
        for run in database.all(sql.OPEN_RUNS)
        if processes.is_gone(
            processes.ProcessStamp(run["process_node"], run["process_id"], run["process_started"])
        )
    ]


def resumable(database: Database, device: str | None = None) -> list[int]:
    """Return those that may be taken over; with a `device`, named as in the run, only on it."""
    return [
        run_id
        for run_id, named in abandoned(database)
        if named != VIRTUAL and device in (None, named)
    ]


def ended_for_good(database: Database, begins_on: str | None) -> list[int]:
    """Return the abandoned runs that nobody will take over; a new run begins on this device."""
    return [run_id for run_id, named in abandoned(database) if named in (VIRTUAL, begins_on)]


def take_over(database: Database, run_id: int) -> None:
    """Let this process go on with such a run; StoreError when it is none, or is one no more."""
    with database.writing():
        if run_id not in resumable(database):
            raise StoreError(
                f"{database.path} has run {run_id} ended, or still being written by another"
                " emberbed; end that program, then try again"
            )
        database.all(sql.SET_WRITER, *processes.own_stamp(), run_id)
