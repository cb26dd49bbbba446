"""`emberbed runs export`, `overlay`, `bundle`, `open`: runs as files, and back."""

import sys
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated

import typer

from emberbed.bundle.layout import BundleError
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
    writing_out,
)
from emberbed.cli_files import check_places, write_file
from emberbed.cli_runs_common import RunNumber
from emberbed.plain_text import printable
from emberbed.report.record_code import short_code
from emberbed.store import export as files
from emberbed.store.run_store import RunStore

PNG = "png"


def add_commands(app: typer.Typer) -> None:
    app.command()(export)
    app.command()(overlay)
    app.command()(bundle)
    app.command("open")(open_bundle)


def export(
    run: RunNumber = "last",
    to: Annotated[
        Path | None,
        typer.Option(
            "--to",
            help="File, .csv, .json, .parquet or .png; if not given, run-N.csv here, or standard"
            " output in a pipe.",
        ),
    ] = None,
    form: Annotated[
        str,
        typer.Option(
            "--form",
            help="csv, json or parquet, or png for its chart; if not given, as the file's name.",
        ),
    ] = "",
    store: StoreFile = None,
) -> None:
    """Export a run as a table, one row per tick, units in the headings, or its chart as a PNG."""
    form = _form_of(form, to)
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        if to is None and not in_terminal():
            _export_to_output(run_store, stored.id, form)
            return
        to = to or _own_file(stored.id, form)
        try:
            with working("Exporting"):
                _export_to_file(run_store, stored.id, form, to)
        except OSError as error:
            fail([f"{to} cannot be written ({error.strerror}): name another file"])
    typer.echo(f"Run {stored.id} is written to {to}", err=True)


def _form_of(form: str, to: Path | None) -> str:
    named = to.suffix.removeprefix(".").lower() if to is not None else ""
    known = (*files.FORMS, PNG)
    form = form or (named if named in known else files.CSV)
    if form not in known:
        fail([f"--form {printable(form)} is not known: use {', '.join(known)}"])
    if form == files.PARQUET and not files.can_write_parquet():
        fail([files.NO_PARQUET])
    return form


def _export_to_file(run_store: RunStore, run_id: int, form: str, to: Path) -> None:
    if form == files.PARQUET:
        files.write_parquet(run_store, run_id, to)
        return
    if form == PNG:
        from emberbed.report.picture import run_png  # matplotlib: only when it is needed

        to.write_bytes(run_png(run_store, run_id))
        return
    write = files.write_csv if form == files.CSV else files.write_json
    with to.open("w", encoding="utf-8", newline="") as stream:
        write(run_store, run_id, stream)


def _own_file(run_id: int, form: str) -> Path:
    """Return the file for a person who named none; theirs of that name is not written over."""
    path = Path(f"run-{run_id}.{form}")
    if path.exists():
        fail([f"{path} is there already: name a file with --to"])
    return path


def _export_to_output(run_store: RunStore, run_id: int, form: str) -> None:
    if sys.stdout is None:
        fail(["There is no standard output here: name a file with --to"])
    if form == files.PARQUET:
        fail(["Parquet is no text: name a file with --to"])
    if form == PNG:
        fail(["A picture is no text: name a file with --to"])
    if isinstance(sys.stdout, TextIOWrapper):
        sys.stdout.reconfigure(newline="")  # the CSV brings its own line ends
    write = files.write_csv if form == files.CSV else files.write_json
    with writing_out():
        write(run_store, run_id, sys.stdout)
        sys.stdout.flush()


def overlay(
    runs: Annotated[list[str], typer.Argument(help="Numbers of two or more runs.")],
    to: Annotated[Path, typer.Option("--to", help="SVG file for the picture.")],
    stage: Annotated[
        int, typer.Option(help="The stage that is to begin at the same place.", min=1)
    ] = 1,
    sensor: Annotated[
        str | None, typer.Option(help="Which sensor; if not given, the one in control.")
    ] = None,
    store: StoreFile = None,
) -> None:
    """Draw several runs over each other, aligned where a stage begins."""
    from emberbed.report.chart import run_chart_svg  # matplotlib: only when it is needed
    from emberbed.report.overlay import NotTogether, overlay_chart

    check_places({"--to": to})
    with told(), RunStore.open(store, create=False) as run_store, working("Drawing"):
        stored = [run_store.run(run) for run in runs]
        try:
            chart = overlay_chart(run_store, stored, stage, sensor)
        except NotTogether as error:
            fail([str(error)])
        drawn = run_chart_svg(chart)
    write_file(to, drawn)
    out(str(to))


def bundle(
    run: RunNumber,
    to: Annotated[Path, typer.Argument(metavar="TO.zip", help="Where the bundle goes.")],
    without_job: Annotated[
        bool,
        typer.Option(
            "--without-job",
            help="Leave the run's job out; else it goes along as it stands, photographs drawn anew,"
            " without amounts of money.",
        ),
    ] = False,
    store: StoreFile = None,
) -> None:
    """Write a run with all that is needed to audit and replay it elsewhere, and its job."""
    from emberbed.bundle.write import write_bundle
    from emberbed.bundle.write_job import job_for

    with told(), RunStore.open(store, create=False) as run_store:
        run_store.mark_interrupted()
        stored = run_store.run(run)
        job = None if without_job else job_for(run_store, stored.id)
        try:
            with working("Packing"):
                write_bundle(run_store, stored, to, job)
        except BundleError as error:
            fail([str(error)])
        except FileExistsError:
            fail([f"{to} is there already: name a new file"])
        except OSError as error:
            fail([f"{to} cannot be written ({error.strerror}): name another file"])
    along = f", with {job.title()}" if job else ""
    typer.echo(f"Run {stored.id} is written to {to}{along}", err=True)


def open_bundle(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A bundle, from anywhere.")],
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """Check a bundle and take its run into the store, and its job into the bench record."""
    from emberbed.bundle.read import read_bundle
    from emberbed.bundle.take_in import take_in
    from emberbed.bundle.take_in_job import job_words, take_in_job

    try:
        with working("Checking"):
            found = read_bundle(file)
        with told(), RunStore.open(store) as run_store, working("Taking in"):
            run_id, was_there = take_in(run_store, found, file)
            taken = run_store.run(run_id)
            job = take_in_job(run_store.database, run_id, found.job) if found.job else None
    except BundleError as error:
        fail([str(error)])
    if json_answer:
        answer = {"run": run_id, "was_there": was_there, "head_sha256": taken.head_sha256}
        print_json({**answer, "bundled_run": found.number, "job": job and job.number})
        return
    here = "is here already as" if was_there else "is stored here as"
    out_sentence(f"Run {found.number} of the bundle {here} run {run_id}.")
    out(f"It is as it was recorded: {taken.head_sha256}")
    out(f"Code on its sheet: {short_code(taken.head_sha256)}")
    if job is not None:
        out_sentence(job_words(job))
