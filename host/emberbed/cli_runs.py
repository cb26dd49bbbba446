"""`emberbed runs`: what the run store holds."""

import sys
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from emberbed.cli_common import Json, StoreFile, fail, out, print_json, told
from emberbed.store.export import write_csv
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunSummary
from emberbed.words import trip_name, verdict_words

app = typer.Typer(no_args_is_help=True, help="List, show, export and audit recorded runs.")
RunNumber = Annotated[str, typer.Argument(help="Number of the run, or 'last'.")]


@app.command("list")
def list_runs(store: StoreFile = None, json_answer: Json = False) -> None:
    """List all runs, the oldest first."""
    with told(), RunStore.open(store, create=False) as run_store:
        run_store.mark_interrupted()
        runs = run_store.runs()
    if json_answer:
        print_json([_as_json(run) for run in runs])
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("run", "started (UTC)", "profile", "ended as", "limits exceeded", "device"):
        table.add_column(heading, no_wrap=True)
    for run in runs:
        limits = "" if run.limits_exceeded is None else str(run.limits_exceeded)
        started = run.started_utc[:16].replace("T", " ")
        device = f"{run.device} ({run.engine})"
        table.add_row(str(run.id), started, run.profile_name, run.state, limits, device)
    Console().print(table, markup=False)


@app.command()
def show(run: RunNumber = "last", store: StoreFile = None, json_answer: Json = False) -> None:
    """Show one run: how it ended, and what happened."""
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        events = run_store.events(stored.id)
        gaps = run_store.gaps(stored.id)
    if json_answer:
        print_json(
            {
                **_as_json(stored),
                "events": [asdict(event) for event in events],
                "gaps": [asdict(gap) for gap in gaps],
            }
        )
        return
    out(f"Run {stored.id}: {stored.profile_name}, begun {stored.started_utc}")
    out(verdict_words(stored.state, stored.limits_exceeded))
    for event in events:
        at = "" if event.tick is None else f"tick {event.tick}"
        out(f"{at:>12}  {event.sentence}")
    for gap in gaps:
        out(f"Readings of ticks {gap.first_missing} to {gap.last_missing} are missing.")
    out(f"{stored.ticks} records, fingerprint {stored.head_sha256}")


@app.command()
def export(
    run: RunNumber = "last",
    to: Annotated[
        Path | None, typer.Option("--to", help="CSV file. [default: standard output]")
    ] = None,
    store: StoreFile = None,
) -> None:
    """Export a run as CSV, one row per tick, units in the headings."""
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        if to is None:
            write_csv(run_store, stored.id, sys.stdout)
            return
        try:
            with to.open("w", encoding="utf-8", newline="") as stream:
                write_csv(run_store, stored.id, stream)
        except OSError as error:
            fail([f"{to} cannot be written ({error.strerror}): name another file"])


@app.command()
def page(
    run: RunNumber = "last",
    to: Annotated[Path, typer.Option("--to", help="HTML file.")] = Path("run.html"),
    store: StoreFile = None,
) -> None:
    """Write the page of a run again."""
    from emberbed.report.run_page import write_run_page  # matplotlib: only when it is needed

    with told(), RunStore.open(store, create=False) as run_store:
        write_run_page(run_store, run_store.run(run).id, to)
    out(str(to))


@app.command()
def audit(run: RunNumber = "last", store: StoreFile = None, json_answer: Json = False) -> None:
    """Tell whether a stored run was changed after it was recorded."""
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        signs = run_store.audit(stored.id)
    if json_answer:
        print_json({"run": stored.id, "signs": signs, "head_sha256": stored.head_sha256})
    else:
        for line in signs or [f"Run {stored.id} is as it was recorded: {stored.head_sha256}"]:
            out(line)
    if signs:
        raise typer.Exit(1)


def _as_json(run: RunSummary) -> dict[str, object]:
    whole = {
        name: number for name, number in asdict(run).items() if not isinstance(number, bytes)
    }
    return {**whole, "trip": trip_name(run.trip)}
