"""`emberbed job`: the bench record. Nothing is decided here; a job never hinders a run."""

from dataclasses import asdict
from typing import Annotated

import typer

from emberbed import cli_job_add, cli_job_figures
from emberbed.cli_common import Json, StoreFile, out, out_sentence, print_json
from emberbed.cli_job_common import JobNumber, Note, job_book

app = typer.Typer(
    no_args_is_help=True,
    help="The bench record: what was done to a board, at what cost, and what came of it.",
)
cli_job_add.add_commands(app)
cli_job_figures.add_commands(app)

Serial = Annotated[str | None, typer.Option("--serial", help="Serial number of the board.")]
Fault = Annotated[str | None, typer.Option("--fault", help="What is wrong, as it came in.")]
Found = Annotated[str | None, typer.Option("--found", help="What turned out to be the cause.")]
Worth = Annotated[
    str | None, typer.Option("--worth", help="What the working board is worth, in your currency.")
]
Minutes = Annotated[
    str | None, typer.Option("--minutes", help="Minutes that somebody's hands were at it.")
]


@app.command()
def new(
    board: Annotated[str, typer.Argument(help="Type of board, as you call it.")],
    serial: Serial = None,
    fault: Fault = None,
    found: Found = None,
    worth: Worth = None,
    run: Annotated[
        str | None, typer.Option("--run", help="A run that belongs to it, or 'last'.")
    ] = None,
    store: StoreFile = None,
) -> None:
    """Open a job for a board."""
    with job_book(store, create=run is None) as (run_store, book):
        run_id = None if run is None else run_store.run(run).id
        job_id = book.new(board, serial=serial, fault=fault, found=found, worth=worth)
        if run_id is not None:
            book.join_run(job_id, run_id)
        out(f"{book.job(job_id).title()} is open.")


@app.command()
def edit(
    job: JobNumber,
    board: Annotated[str | None, typer.Option("--board", help="Type of board.")] = None,
    serial: Serial = None,
    fault: Fault = None,
    found: Found = None,
    minutes: Minutes = None,
    worth: Worth = None,
    store: StoreFile = None,
) -> None:
    """Change what is told of a job; '' takes it back, and what it was stays in its history."""
    with job_book(store) as (_run_store, book):
        known = book.job(job)
        told = dict(serial=serial, fault=fault, found=found, minutes=minutes, worth=worth)
        changed = book.change(known.id, board=board, **told)
        out(f"{book.job(known.id).title()}: {changed} changed.")


@app.command("list")
def list_jobs(
    only_open: Annotated[bool, typer.Option("--open", help="Only those that are open.")] = False,
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """List the jobs, the oldest first."""
    from emberbed.jobs.job_json import job_row
    from emberbed.jobs.job_lines import list_lines

    with job_book(store) as (_run_store, book):
        jobs = [job for job in book.jobs() if not (only_open and job.closed_utc)]
    if json_answer:
        print_json([job_row(job) for job in jobs])
        return
    for line in list_lines(jobs):
        out(line)


@app.command()
def show(job: JobNumber = "last", store: StoreFile = None, json_answer: Json = False) -> None:
    """Show a job: its runs, checks, parts, photographs, tests, costs."""
    from emberbed.jobs.job_json import job_json
    from emberbed.jobs.job_lines import job_lines
    from emberbed.jobs.overview import overview_of

    with job_book(store) as (run_store, _book):
        overview = overview_of(run_store, job, with_passes=True)
        folder = run_store.path.parent
    if json_answer:
        print_json(job_json(overview, folder))
        return
    for line in job_lines(overview, folder):
        out_sentence(line)


@app.command()
def history(job: JobNumber = "last", store: StoreFile = None, json_answer: Json = False) -> None:
    """Show every entry of a job, the oldest first: what was told when, corrections too."""
    from emberbed.jobs.job_lines import entry_line

    with job_book(store) as (_run_store, book):
        entries = book.history(book.job(job).id)
    if json_answer:
        print_json([asdict(entry) for entry in entries])
        return
    for entry in entries:
        out(entry_line(entry))


@app.command()
def close(
    job: JobNumber,
    outcome: Annotated[str, typer.Argument(help="works, partly, fails or not_tried.")],
    note: Note = "",
    store: StoreFile = None,
) -> None:
    """Close a job with what came of it; photographs and answers can still be added."""
    from emberbed.jobs.job_lines import closing_lines
    from emberbed.jobs.overview import overview_of

    with job_book(store) as (run_store, book):
        known = book.job(job)
        book.close(known.id, outcome, note)
        for line in closing_lines(overview_of(run_store, known.id)):
            out_sentence(line)


@app.command()
def reopen(job: JobNumber, store: StoreFile = None) -> None:
    """Open a closed job again."""
    with job_book(store) as (_run_store, book):
        known = book.job(job)
        book.reopen(known.id)
        out(f"{known.title()} is open.")
