"""`emberbed runs archive` and `runs remove`: runs that leave the store, and what is told of it."""

import sys
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from emberbed.bench.prepare import NotReady
from emberbed.bundle import removal
from emberbed.bundle.layout import BundleError
from emberbed.cli_common import StoreFile, fail, out, out_sentence, told, working
from emberbed.report.display import local_minute
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun

Runs = Annotated[list[str] | None, typer.Argument(help="Numbers of runs.")]


def add_commands(app: typer.Typer) -> None:
    app.command()(archive)
    app.command()(remove)


def archive(
    to: Annotated[Path, typer.Argument(help="Run store file that takes them; it may be there.")],
    runs: Runs = None,
    before: Annotated[
        str, typer.Option("--before", help="All runs begun before this day, such as 2026-01-31.")
    ] = "",
    store: StoreFile = None,
) -> None:
    """Move runs into another store file, chains whole; each is audited there before it goes here.

    Show them there with --store.
    """
    with told(), RunStore.open(store, create=False) as run_store:
        run_store.mark_interrupted()
        going = _named(run_store, runs or [], before)
        if to.exists() and to.samefile(run_store.path):
            raise NotReady([f"{to} is the store that they lie in: name another file"])
        removal.check_may_go(run_store, going)
        _say(run_store, going)
        try:
            with working("Moving"), RunStore.open(to) as other:
                removal.archive(run_store, going, other)
        except BundleError as error:
            fail([str(error)])
        out_sentence(f"{_count(going)} moved to {to}; told in {removal.record_path(run_store)}.")


def remove(
    runs: Annotated[list[str], typer.Argument(help="Numbers of runs.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask; for scripts.")] = False,
    store: StoreFile = None,
) -> None:
    """Remove runs for good, after a question; that they were there stays recorded."""
    with told(), RunStore.open(store, create=False) as run_store:
        run_store.mark_interrupted()
        going = _named(run_store, runs, "")
        removal.check_may_go(run_store, going)
        _say(run_store, going)
        if not yes and not _agreed():
            out("Nothing is removed.")
            return
        removal.remove(run_store, going)
        out_sentence(f"{_count(going)} removed; told in {removal.record_path(run_store)}.")


def _named(store: RunStore, numbers: list[str], before: str) -> list[StoredRun]:
    """Return the runs that are meant, each once, the oldest first."""
    named = {run.id for run in (store.run(number) for number in numbers)}
    if before:
        day = _day(before)
        named |= {run.id for run in store.runs() if local_minute(run.started_utc)[:10] < day}
    if not named:
        raise NotReady(["No run is meant: name numbers of runs, or a day with --before"])
    return [store.run(number) for number in sorted(named)]


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise NotReady([f"--before {text[:20]} is no day: write it such as 2026-01-31"]) from None


def _say(store: RunStore, going: list[StoredRun]) -> None:
    for run in going:
        jobs = ", ".join(str(job) for job in removal.jobs_with(store, run))
        lost = f"; job {jobs} has it no more" if jobs else ""
        out(f"Run {run.id}, {local_minute(run.started_utc)}, {run.profile_name}, {run.state}{lost}")


def _agreed() -> bool:
    if sys.stdin is None or not sys.stdin.isatty():
        raise NotReady(["Nobody is there to be asked: say --yes to remove them for good"])
    return typer.confirm("Remove for good? Nothing can bring them back", default=False)


def _count(runs: list[StoredRun]) -> str:
    return f"{len(runs)} run{'s are' if len(runs) > 1 else ' is'}"
