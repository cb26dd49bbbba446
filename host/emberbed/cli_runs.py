"""`emberbed runs`: what the run store holds."""

import shutil
import sys
from dataclasses import asdict
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated

import typer

from emberbed.bench.run_files import make_default_folder, page_path
from emberbed.cli_common import (
    Json,
    StoreFile,
    fail,
    in_terminal,
    out,
    out_sentence,
    print_json,
    told,
    writing_out,
)
from emberbed.report import display
from emberbed.report.ending import ending_of
from emberbed.report.signs import grouped_signs
from emberbed.run_table import run_table
from emberbed.store.export import write_csv
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunSummary
from emberbed.words import trip_name
from emberbed_fw.units import TICKS_PER_S

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
    columns = shutil.get_terminal_size().columns if in_terminal() else None
    for line in run_table(runs, columns):
        out(line)


@app.command()
def show(run: RunNumber = "last", store: StoreFile = None, json_answer: Json = False) -> None:
    """Show one run: how it ended, and what happened."""
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        events = run_store.events(stored.id)
        gaps = run_store.gaps(stored.id)
        ending = ending_of(run_store, stored, events)
        if json_answer:
            from emberbed.report.run_json import work_json  # numpy: only when it is needed

            print_json(
                {
                    **_as_json(stored),
                    "goes_on_as": run_store.goes_on_as(stored.id),
                    "ending": ending.lines(),
                    **work_json(run_store, stored),
                    "events": [asdict(event) for event in events],
                    "gaps": [asdict(gap) for gap in gaps],
                }
            )
            return
    out(f"Run {stored.id}: {stored.profile_name}, begun {display.local_time(stored.started_utc)}")
    for event in events:
        out(f"{_clock(stored, event.tick):>8}  {event.sentence}")
    for gap in gaps:
        out(
            f"{_clock(stored, gap.first_missing):>8}  {gap.ticks} records are missing from here on."
        )
    out(f"{stored.ticks} records, fingerprint {stored.head_sha256}")
    for line in ending.lines():  # last, so that it stays on the screen
        out_sentence(line)


@app.command()
def export(
    run: RunNumber = "last",
    to: Annotated[
        Path | None,
        typer.Option(
            "--to",
            help="CSV file; if not given, run-N.csv here, or standard output in a pipe.",
        ),
    ] = None,
    store: StoreFile = None,
) -> None:
    """Export a run as CSV, one row per tick, units in the headings."""
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        if to is None and not in_terminal():
            _export_to_output(run_store, stored.id)
            return
        to = to or _own_file(stored.id)
        try:
            with to.open("w", encoding="utf-8", newline="") as stream:
                write_csv(run_store, stored.id, stream)
        except OSError as error:
            fail([f"{to} cannot be written ({error.strerror}): name another file"])
    typer.echo(f"Run {stored.id} is written to {to}", err=True)


def _own_file(run_id: int) -> Path:
    """Return the file for a person who named none; theirs of that name is not written over."""
    path = Path(f"run-{run_id}.csv")
    if path.exists():
        fail([f"{path} is there already: name a file with --to"])
    return path


def _export_to_output(run_store: RunStore, run_id: int) -> None:
    if sys.stdout is None:
        fail(["There is no standard output here: name a file with --to"])
    if isinstance(sys.stdout, TextIOWrapper):
        sys.stdout.reconfigure(newline="")  # the CSV brings its own line ends
    with writing_out():
        write_csv(run_store, run_id, sys.stdout)
        sys.stdout.flush()


@app.command()
def page(
    run: RunNumber = "last",
    to: Annotated[
        Path | None, typer.Option("--to", help="HTML file; if not given, beside the store.")
    ] = None,
    store: StoreFile = None,
) -> None:
    """Write the page of a run again."""
    from emberbed.report.run_page import write_run_page  # matplotlib: only when it is needed

    with told(), RunStore.open(store, create=False) as run_store:
        run_id = run_store.run(run).id
        place = page_path(to, run_store, run_id)
        try:
            make_default_folder(to, run_store)
        except OSError as error:
            fail([f"{place} cannot be written ({error.strerror}): name another file with --to"])
        write_run_page(run_store, run_id, place)
    out(str(place))


@app.command()
def revise(
    run: RunNumber,
    to: Annotated[Path, typer.Argument(metavar="NEW.toml", help="Where the new profile goes.")],
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """Save what you did in a run as a new revision of the profile that it used."""
    from emberbed.revise.write import NothingToSave, revision_of

    with told(), RunStore.open(store, create=False) as run_store:
        run_store.mark_interrupted()
        stored = run_store.run(run)
        try:
            revision = revision_of(run_store, stored)
        except NothingToSave as nothing:
            fail([_sentence(str(nothing))])
    _write_new(to, revision.text)
    if json_answer:
        parts = {"name": revision.name, "changed": revision.sentences, "kept": revision.kept}
        print_json({"run": stored.id, "file": str(to), **parts})
        return
    for line in (*revision.sentences, *revision.kept):
        out_sentence(line)
    out_sentence(f'"{revision.name}" is written to {to}; check it with: emberbed check {to}')


def _write_new(to: Path, text: str) -> None:
    """Write a file that was not there."""
    try:
        with to.open("x", encoding="utf-8", newline="") as stream:
            stream.write(text)
    except FileExistsError:
        fail([f"{to} is there already: name a new file"])
    except OSError as error:
        fail([f"{to} cannot be written ({error.strerror}): name another file"])


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


@app.command()
def audit(run: RunNumber = "last", store: StoreFile = None, json_answer: Json = False) -> None:
    """Tell whether a stored run was changed after it was recorded."""
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        signs = run_store.audit(stored.id)
    if json_answer:
        print_json({"run": stored.id, "signs": signs, "head_sha256": stored.head_sha256})
    else:
        out(
            f"Run {stored.id} was changed after it was recorded:"
            if signs
            else f"Run {stored.id} is as it was recorded: {stored.head_sha256}"
        )
        for line in grouped_signs(signs):
            out(line)
    if signs:
        raise typer.Exit(1)


def _clock(run: RunSummary, tick: int | None) -> str:
    """Return when in its run a tick was, as the run's page shows it."""
    if tick is None or run.first_tick is None:
        return display.NOTHING
    return display.clock((tick - run.first_tick) / TICKS_PER_S)


def _as_json(run: RunSummary) -> dict[str, object]:
    whole = {name: number for name, number in asdict(run).items() if not isinstance(number, bytes)}
    return {**whole, "trip": trip_name(run.trip)}
