"""What a job tells the customer's sheet: which board, its photographs, its other runs."""

from dataclasses import dataclass
from pathlib import Path

from emberbed.jobs import model
from emberbed.jobs.book import JobBook
from emberbed.jobs.kept_files import whole_path_of
from emberbed.jobs.run_figures import job_of_run, runs_of_board
from emberbed.store.run_store import RunStore


@dataclass(frozen=True)
class SheetFacts:
    """`before` and `after` are kept copies, None for none; `others` are the ended runs of the same
    board, whatever job they belong to; `lost` names photographs whose copy is gone or changed."""

    board: str = ""
    before: Path | None = None
    after: Path | None = None
    others: tuple[int, ...] = ()
    lost: tuple[str, ...] = ()


def sheet_facts(store: RunStore, run_id: int) -> SheetFacts:
    """Return what the job of a run knows; nothing for a run without one. Raises StoreError."""
    jobs = JobBook(store).jobs()
    job = job_of_run(store, jobs, run_id)
    if job is None:
        return SheetFacts()
    photos = [job.photo(kind) for kind in (model.BEFORE, model.AFTER)]
    before, after = (whole_path_of(store.database, one.file) if one else None for one in photos)
    simulated = store.run(run_id).simulated
    return SheetFacts(
        board=f"{job.board}, serial {job.serial}" if job.serial else job.board,
        before=before,
        after=after,
        others=tuple(runs_of_board(store, jobs, job, simulated)),
        lost=tuple(
            one.name
            for one, copy in zip(photos, (before, after), strict=True)
            if one is not None and copy is None
        ),
    )
