"""`emberbed runs sheet`: one plain sheet for the person whose board it is."""

from pathlib import Path
from typing import Annotated

import typer

from emberbed.cli_common import StoreFile, fail, out, out_note, told, working
from emberbed.cli_files import check_places
from emberbed.cli_runs_common import RunNumber
from emberbed.plain_text import hidden_characters, printable
from emberbed.store.run_store import RunStore

MOST_NAME = 80  # characters


def add_commands(app: typer.Typer) -> None:
    app.command()(sheet)


def sheet(
    run: RunNumber = "last",
    *,
    shop: Annotated[str, typer.Option("--shop", help="Name of the shop, at the head.")],
    to: Annotated[Path, typer.Option("--to", help="File for the sheet, .html or .pdf.")],
    board: Annotated[
        str,
        typer.Option(
            "--board", help="Which board it is, such as its serial number; else as its job says."
        ),
    ] = "",
    before: Annotated[
        Path | None,
        typer.Option("--before", help="Photograph before the work, PNG or JPEG; else its job's."),
    ] = None,
    after: Annotated[
        Path | None,
        typer.Option("--after", help="Photograph after the work, PNG or JPEG; else its job's."),
    ] = None,
    earlier: Annotated[
        list[str] | None,
        typer.Option(
            "--earlier",
            help="An earlier run of the same board, whose passes above liquidus count too."
            " Repeatable; those of its job and its serial number are counted anyway.",
        ),
    ] = None,
    store: StoreFile = None,
) -> None:
    """Write one plain sheet for your customer: what the board saw, how well it is known."""
    from emberbed.jobs.for_sheet import sheet_facts
    from emberbed.report.customer_sheet import WRITERS, Job, NotEnded, write_sheet
    from emberbed.report.photos import PhotoError, read_photo

    if to.suffix.lower() not in WRITERS:
        fail([f"{to} has no form that a sheet can have: name a file {' or '.join(WRITERS)}"])
    check_places({"--to": to})
    names = {"--shop": _name("--shop", shop), "--board": _name("--board", board) if board else ""}
    with told(), RunStore.open(store, create=False) as run_store:
        run_store.mark_interrupted()
        run_id = run_store.run(run).id
        known = tuple(run_store.run(number).id for number in earlier or [])
        by_job = sheet_facts(run_store, run_id)
        paths = (before or by_job.before, after or by_job.after)
        for name in by_job.lost:
            out_note(f"The copy of {printable(name, 25)} is gone or changed")
        try:
            first, last = (None if path is None else read_photo(path) for path in paths)
            others = tuple(sorted({*known, *by_job.others} - {run_id}))
            job = Job(names["--shop"], names["--board"] or by_job.board, first, last, others)
            with working("Writing"):
                written = write_sheet(run_store, run_id, job, to)
        except (NotEnded, PhotoError) as error:
            fail([str(error)])
    _tell_missing_letters(to, f"{written.title} {job.board}")
    out(str(to))


def _name(option: str, text: str) -> str:
    """Return a name in one line."""
    name = " ".join(text.split())
    if not name or len(name) > MOST_NAME or hidden_characters(name):
        fail([f"{option} is 1 to {MOST_NAME} characters of plain text: write it anew"])
    return name


def _tell_missing_letters(to: Path, words: str) -> None:
    from emberbed.report.customer_sheet import PDF
    from emberbed.report.paper import missing_letters

    missing = missing_letters(words) if to.suffix.lower() == PDF else ""
    if missing:
        out_note(f"The PDF has no letters for {missing}: write the sheet as .html")
