"""What the commands about jobs share, and the two options of `emberbed run` about them."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from emberbed.cli_common import fail, told
from emberbed.store.run_store import RunStore

if TYPE_CHECKING:
    from emberbed.jobs.book import JobBook

JobNumber = Annotated[str, typer.Argument(metavar="JOB", help="Number of the job, or 'last'.")]
OfJob = Annotated[
    str | None, typer.Option("--job", help="The job in the bench record that this run belongs to.")
]
OnBoard = Annotated[
    str | None,
    typer.Option(
        "--board",
        help="Type of board: the run joins its open job, or opens one. If not given, the profile's"
        " name (on the virtual device: no job).",
    ),
]
Note = Annotated[str, typer.Option("--note", help="A sentence about it.")]


@contextmanager
def job_book(store: Path | None, create: bool = False) -> Iterator[tuple[RunStore, "JobBook"]]:
    """Open the store; every expected failure becomes its sentence and exit 2."""
    from emberbed.heater.csv_reader import TableMistake
    from emberbed.jobs.book import JobBook
    from emberbed.report.photos import PhotoError

    try:
        with told(), RunStore.open(store, create=create) as run_store:
            run_store.mark_interrupted()
            yield run_store, JobBook(run_store)
    except (PhotoError, TableMistake) as error:
        fail([str(error)])
