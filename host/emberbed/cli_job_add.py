"""`emberbed job check`, `photo`, `part`, `test`, `run`, `undo`: what is added to a job."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from emberbed.bench.prepare import NotReady
from emberbed.cli_common import Json, StoreFile, out, out_sentence, print_json
from emberbed.cli_job_common import JobNumber, Note, job_book
from emberbed.cli_runs_common import RunNumber
from emberbed.jobs.checklists import NAMES
from emberbed.plain_text import did_you_mean, printable

Items = Literal["photo", "part", "test"]


def add_commands(app: typer.Typer) -> None:
    for command in (check, photo, part, test, run, undo):
        app.command()(command)


def check(
    job: JobNumber,
    list_name: Annotated[
        str | None, typer.Argument(metavar="[LIST]", help="before, after or test.")
    ] = None,
    answers: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[QUESTION=ANSWER]...", help="Such as flush=yes or pads=not_needed."
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", help="A sentence about these answers.")] = "",
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """Answer the questions of a checklist, or show them; questions of your own can be added."""
    from emberbed.jobs.job_json import check_row
    from emberbed.jobs.job_lines import check_lines
    from emberbed.jobs.overview import overview_of

    with job_book(store) as (run_store, book):
        overview = overview_of(run_store, job)
        lists = [_list(list_name)] if list_name is not None else list(NAMES)
        said = [_answered(text) for text in answers or []]
        if note and not said:
            raise NotReady(["--note is about answers: add one, such as flush=yes"])
        known = overview.lists[lists[0]]
        items = [(known.item(name), answer) for name, answer in said]
        book.answer(overview.job.id, lists[0], items, note)
        overview = overview_of(run_store, overview.job.id)
    if json_answer:
        print_json({name: [check_row(one) for one in overview.checked[name]] for name in lists})
        return
    for name in lists:
        for line in check_lines(overview, name):
            out_sentence(line)


def photo(
    job: JobNumber,
    file: Annotated[Path, typer.Argument(help="Photograph, PNG or JPEG; a copy is kept.")],
    of: Annotated[str, typer.Option("--of", help="before, after, sensors or other.")],
    note: Note = "",
    store: StoreFile = None,
) -> None:
    """Add a photograph; one of the sensors is shown before the next run on such a board."""
    with job_book(store) as (_run_store, book):
        known = book.job(job)
        number = book.add_photo(known.id, file, of, note)
        out(f"{known.title()}: photograph {number} is kept.")


def part(
    job: JobNumber,
    name: Annotated[str, typer.Argument(help="What was used.")],
    count: Annotated[int, typer.Option("--count", help="How many.")] = 1,
    each: Annotated[
        str | None, typer.Option("--each", help="What one costs, in your currency.")
    ] = None,
    store: StoreFile = None,
) -> None:
    """Add a part that was used."""
    with job_book(store) as (_run_store, book):
        known = book.job(job)
        number = book.add_part(known.id, name, count, each)
        out(f"{known.title()}: part {number} is kept.")


def test(
    job: JobNumber,
    kind: Annotated[str, typer.Argument(help="functional or load.")],
    passed: Annotated[bool, typer.Option("--passed/--failed", help="How it went.")],
    minutes: Annotated[str | None, typer.Option("--minutes", help="How long it ran.")] = None,
    log: Annotated[
        Path | None,
        typer.Option("--log", help="Temperature log, CSV with time_s and columns such as chip_c."),
    ] = None,
    note: Note = "",
    store: StoreFile = None,
) -> None:
    """Add a functional or load test, with its temperatures if they were logged."""
    from emberbed.jobs.job_lines import test_lines

    with job_book(store) as (_run_store, book):
        known = book.job(job)
        number = book.add_test(known.id, kind, passed, note, minutes, log)
        entry = next(one for one in book.job(known.id).tests if one.number == number)
        for line in test_lines(entry):
            out_sentence(line)


def run(job: JobNumber, run: RunNumber = "last", store: StoreFile = None) -> None:
    """Let a run belong to a job, and to no other."""
    with job_book(store) as (run_store, book):
        known, run_id = book.job(job), run_store.run(run).id
        book.join_run(known.id, run_id)
        out(f"{known.title()} has run {run_id}.")


def undo(
    job: JobNumber,
    what: Annotated[Items, typer.Argument(help="What to take back.")],
    number: Annotated[int, typer.Argument(help="Its number in the job.")],
    store: StoreFile = None,
) -> None:
    """Take back a photograph, part or test; it stays in the job's history."""
    with job_book(store) as (_run_store, book):
        known = book.job(job)
        book.take_back(known.id, what, number)
        out(f"{known.title()}: {what} {number} is taken back.")


def _list(name: str) -> str:
    if name not in NAMES:
        mend = did_you_mean(name, NAMES, "the lists are")
        raise NotReady([f'"{printable(name)}" is no checklist; {mend}'])
    return name


def _answered(text: str) -> tuple[str, str]:
    question, sign, answer = text.partition("=")
    if not sign:
        mend = "write question=answer, such as flush=yes"
        raise NotReady([f'"{printable(text)}" is no answer to a question; {mend}'])
    return question, answer
