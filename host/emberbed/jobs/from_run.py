"""A run enters the bench record by itself: it joins the open job of its board, or opens one.

Asked for by number or type of board, else the type is called as the profile is. Nothing is asked
and nothing waits: a record that cannot be kept costs a sentence, never the run. What runs on the
simulation, holds a temperature or identifies a heater is no job unless one is named.
"""

from dataclasses import dataclass

from rich.console import Console

from emberbed.bench.prepare import MadeOnDevice, NotReady
from emberbed.jobs.plain_entries import name_of
from emberbed.profiles.reader import ProfileFile
from emberbed.report.display import local_minute
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore


@dataclass(frozen=True)
class JobWish:
    """Which job a run belongs to: one by its number, or that of a type of board."""

    number: str | None = None
    board: str | None = None


def wish_of(number: str | None, board: str | None) -> JobWish | None:
    """Return what was asked for on a command line, None for nothing. Raises NotReady."""
    if number is not None and board is not None:
        raise NotReady(["--job and --board are two ways to name one job: leave one of them out"])
    name = None if board is None else name_of("--board", board)
    return None if number is None and name is None else JobWish(number, name)


def wish_for(
    store: RunStore,
    wish: JobWish | None,
    asked: ProfileFile | MadeOnDevice | None,
    simulated: bool,
) -> JobWish | None:
    """Return the job that a run belongs to, None for none, before anything is sent.

    Raises StoreError, NotReady for a job that is not there or is closed.
    """
    if wish is None:
        if simulated or not isinstance(asked, ProfileFile) or asked.model.identifies():
            return None
        return JobWish(board=asked.model.name)
    if wish.number is not None:
        from emberbed.jobs.book import JobBook

        job = JobBook(store).job(wish.number)
        if job.closed_utc is not None:
            again = f"open it again with: emberbed job reopen {job.id}, or leave --job out"
            raise NotReady([f"{job.title()} is closed: {again}"])
    return wish


def join(store: RunStore, run_id: int, wish: JobWish | None, console: Console) -> None:
    """Let a run belong to its job, and tell which it is."""
    if wish is None:
        return
    try:
        told = f"note: {_joined(store, run_id, wish)}"
    except (NotReady, StoreError) as error:
        told = f"warning: this run could not join a job ({error}); it goes on without one"
    console.print(told, markup=False, highlight=False, soft_wrap=True)


def _joined(store: RunStore, run_id: int, wish: JobWish) -> str:
    from emberbed.jobs.book import JobBook  # only for a run that belongs to a job

    book = JobBook(store)
    if wish.number is not None:
        job = book.job(wish.number)
        book.join_run(job.id, run_id)
        return f"{job.title()} has this run."
    assert wish.board is not None
    open_job = book.open_job_of(wish.board)
    job = book.job(book.new(wish.board) if open_job is None else open_job)
    book.join_run(job.id, run_id)
    if open_job is None:
        return (
            f"{job.title()} is opened, it has this run; say more with: emberbed job edit {job.id}"
        )
    another = f"emberbed job new BOARD --run {run_id}"
    since = local_minute(job.opened_utc)
    return f"{job.title()}, open since {since}, has this run. Is it another board? {another}"
