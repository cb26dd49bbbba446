"""`emberbed runs`: what the run store holds."""

import shutil
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from emberbed import cli_fetch, cli_runs_files, cli_runs_going, cli_runs_replay, cli_sheet
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
    working,
)
from emberbed.cli_files import check_places
from emberbed.cli_runs_common import RunNumber, clock_at
from emberbed.plain_text import hidden_characters
from emberbed.report import display
from emberbed.report.ending import ending_of
from emberbed.report.record_code import short_code
from emberbed.report.signs import grouped_signs
from emberbed.run_table import run_table
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunSummary
from emberbed.words import trip_name

MOST_NOTE = 1000  # characters

app = typer.Typer(no_args_is_help=True, help="List, show, export, replay and audit recorded runs.")


cli_fetch.add_commands(app)
cli_runs_files.add_commands(app)
cli_runs_replay.add_commands(app)
cli_runs_going.add_commands(app)
cli_sheet.add_commands(app)


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
        notes = run_store.notes(stored.id)
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
                    "notes": [asdict(note) for note in notes],
                }
            )
            return
    out(f"Run {stored.id}: {stored.profile_name}, begun {display.local_time(stored.started_utc)}")
    for event in events:
        out(f"{clock_at(stored, event.tick):>8}  {event.sentence}")
    for gap in gaps:
        at = clock_at(stored, gap.first_missing)
        out(f"{at:>8}  {gap.ticks} records are missing from here on.")
    if stored.bundled_run is not None:
        out(f"It came in a bundle, as run {stored.bundled_run} of another store.")
    for note in notes:
        out(f"Note of {display.local_minute(note.noted_utc)}: {note.sentence}")
    out(f"{stored.ticks} records, fingerprint {stored.head_sha256}")
    out(f"Code on its sheet: {short_code(stored.head_sha256)}")
    for line in ending.lines():  # last, so that it stays on the screen
        out_sentence(line)


@app.command()
def page(
    run: RunNumber = "last",
    to: Annotated[
        Path | None, typer.Option("--to", help="HTML file; if not given, beside the store.")
    ] = None,
    pdf: Annotated[
        Path | None, typer.Option("--pdf", help="Write the report as a PDF too: one A4 page.")
    ] = None,
    store: StoreFile = None,
) -> None:
    """Write the page of a run again, and its report for a folder."""
    from emberbed.report.run_page import write_run_page  # matplotlib: only when it is needed
    from emberbed.report.run_report import write_run_report

    check_places({"--pdf": pdf})
    with told(), RunStore.open(store, create=False) as run_store:
        run_id = run_store.run(run).id
        place = page_path(to, run_store, run_id)
        try:
            make_default_folder(to, run_store)
        except OSError as error:
            fail([f"{place} cannot be written ({error.strerror}): name another file with --to"])
        with working("Writing"):
            write_run_page(run_store, run_id, place)
        out(str(place))
        if pdf is not None:
            with working("Writing the report"):
                write_run_report(run_store, run_id, pdf)
            out(str(pdf))


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
def note(
    run: RunNumber,
    text: Annotated[str, typer.Argument(help="One or two sentences.")],
    store: StoreFile = None,
) -> None:
    """Add a note to a run, at any time; `runs show` shows it, and it cannot be changed unseen."""
    sentence = " ".join(text.split())
    if not sentence or hidden_characters(sentence) or len(sentence) > MOST_NOTE:
        fail([f"A note is 1 to {MOST_NOTE} characters of plain text: write it anew"])
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        run_store.add_note(stored.id, sentence)
    out(f"Noted for run {stored.id}.")


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


def _as_json(run: RunSummary) -> dict[str, object]:
    whole = {name: number for name, number in asdict(run).items() if not isinstance(number, bytes)}
    return {**whole, "trip": trip_name(run.trip)}
