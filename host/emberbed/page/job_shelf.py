"""The bench record as the page shows it: a list of jobs, one job, and what is told of it there.

Called in a helper process with a store of its own; takes and gives plain data. Raises NotReady,
StoreError.
"""

from pathlib import Path
from typing import Any

from emberbed.jobs.book import JobBook
from emberbed.jobs.checklists import ANSWERS, checklists
from emberbed.jobs.job_json import group_row, job_json, job_row
from emberbed.jobs.job_lines import STATISTICS_NOTE, cost_lines, test_lines
from emberbed.jobs.kept_files import whole_path_of
from emberbed.jobs.model import OUTCOMES, PHOTO_KINDS, TEST_KINDS
from emberbed.jobs.overview import JobOverview, done_jobs, overview_of
from emberbed.jobs.prices import prices_at
from emberbed.jobs.statistics import BY_CLASS, BY_PROFILE, statistics
from emberbed.page.before_heat import drawn_anew
from emberbed.report.display import local_minute
from emberbed.store.run_store import RunStore

TOLD = ("board", "serial", "fault", "found", "minutes", "worth")
ITEMS = ("photo", "part", "test")  # what is added to a job, and can be taken back
GROUPS = (BY_PROFILE, BY_CLASS)


def listed(store: Path | None) -> list[dict[str, Any]]:
    """Return all jobs, the newest first."""
    with RunStore.open(store) as opened:
        jobs = JobBook(opened).jobs()
    return [{**job_row(job), "opened": local_minute(job.opened_utc)} for job in reversed(jobs)]


def one(store: Path | None, job_id: int) -> dict[str, Any]:
    """Return all of a job, and the words that can be chosen."""
    with RunStore.open(store, create=False) as opened:
        overview = overview_of(opened, job_id, with_passes=True)
        whole = job_json(overview, opened.path.parent)
    job = overview.job
    return {
        **whole,
        "title": job.title(),
        "opened": local_minute(job.opened_utc),
        "closed": job.closed_utc and local_minute(job.closed_utc),
        "runs": [{**run, "started": local_minute(run["started_utc"])} for run in whole["runs"]],
        "lists": _lists(overview, whole["checks"]),
        "photos": [
            {"number": one.number, "kind": PHOTO_KINDS[one.kind], "note": one.note}
            for one in job.photos
        ],
        "tests": [{"number": test.number, "lines": list(test_lines(test))} for test in job.tests],
        "costs_in": overview.prices.currency,
        "costs": list(cost_lines(overview.costs, overview.prices.currency)),
        "answers": ANSWERS,
        "outcomes": OUTCOMES,
        "photo_kinds": PHOTO_KINDS,
        "test_kinds": TEST_KINDS,
    }


def photo(store: Path | None, job_id: int, number: int) -> bytes | None:
    """Return a photograph of a job as a JPEG drawn anew, None for one that is not there."""
    from emberbed.report.photos import read_photo  # pillow: only when it is needed

    with RunStore.open(store, create=False) as opened:
        photos = JobBook(opened).job(job_id).photos
        found = next((one for one in photos if one.number == number), None)
        path = found and whole_path_of(opened.database, found.file)
    return None if path is None else read_photo(path).jpeg


def new(store: Path | None, told: dict[str, str]) -> int:
    """Open a job; return its number."""
    with RunStore.open(store) as opened:
        return JobBook(opened).new(**told)


def change(store: Path | None, job_id: int, told: dict[str, str]) -> None:
    """Change what is told of a job; '' takes it back."""
    worth = {key: _amount(text) for key, text in told.items() if key == "worth"}
    with RunStore.open(store, create=False) as opened:
        JobBook(opened).change(job_id, **{**told, **worth})


def answer(store: Path | None, job_id: int, list_name: str, item_id: str, said: str) -> None:
    """Keep the answer to a question."""
    with RunStore.open(store, create=False) as opened:
        item = checklists(opened.path.parent)[list_name].item(item_id)
        JobBook(opened).answer(job_id, list_name, [(item, said)])


def close(store: Path | None, job_id: int, outcome: str, note: str) -> None:
    """Close a job with what came of it."""
    with RunStore.open(store, create=False) as opened:
        JobBook(opened).close(job_id, outcome, note)


def add_photo(store: Path | None, job_id: int, octets: bytes, kind: str, note: str) -> None:
    """Keep a photograph of a job, drawn anew."""
    with drawn_anew(octets, kind) as fresh, RunStore.open(store, create=False) as opened:
        JobBook(opened).add_photo(job_id, fresh, kind, note)


def add_part(store: Path | None, job_id: int, name: str, count: int, each: str) -> None:
    """Keep a part that was used; `each` is what one cost, '' where nobody says."""
    with RunStore.open(store, create=False) as opened:
        JobBook(opened).add_part(job_id, name, count, _amount(each.strip()) or None)


def add_test(
    store: Path | None, job_id: int, kind: str, passed: bool, minutes: str, note: str
) -> None:
    """Keep a functional or load test; `minutes` is '' where nobody says."""
    with RunStore.open(store, create=False) as opened:
        JobBook(opened).add_test(job_id, kind, passed, note, minutes.strip() or None)


def take_back(store: Path | None, job_id: int, kind: str, number: int) -> None:
    """Take back a photograph, part or test; it stays in the job's history."""
    with RunStore.open(store, create=False) as opened:
        JobBook(opened).take_back(job_id, kind, number)


def reopen(store: Path | None, job_id: int) -> None:
    with RunStore.open(store, create=False) as opened:
        JobBook(opened).reopen(job_id)


def figures(store: Path | None) -> dict[str, Any]:
    """Return how often repairs on a real heater succeed, by profile and class of board."""
    with RunStore.open(store) as opened:
        groups = statistics(done_jobs(opened), GROUPS)
        currency = prices_at(opened.database, None).currency
    rows = [group_row(one, GROUPS) for one in groups]
    return {"rows": rows, "currency": currency, "note": STATISTICS_NOTE}


def _amount(text: str) -> str:
    """Return an amount with its point: a form takes a decimal comma too."""
    return text.replace(",", ".") if text.count(",") == 1 else text


def _lists(overview: JobOverview, checks: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {"name": name, "title": known.title, "items": checks[name]}
        for name, known in overview.lists.items()
    ]
