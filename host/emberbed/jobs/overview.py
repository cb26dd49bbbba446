"""Everything that is known of a job, collected from the store once: itself, its runs, its costs."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from emberbed.jobs.book import JobBook
from emberbed.jobs.checklists import BEFORE, Checklist, Item, checklists
from emberbed.jobs.costs import JobCosts, costs_of
from emberbed.jobs.model import Answer, Job
from emberbed.jobs.prices import Prices, prices_at
from emberbed.jobs.run_figures import HeatingRun, passes_of_board, runs_of
from emberbed.jobs.statistics import DoneJob
from emberbed.store.run_store import RunStore

YES, NO = "yes", "no"


@dataclass(frozen=True)
class Checked:
    """A question of a list with its answer, None for none; `late` says in a sentence that a yes
    came on another day than the heat, '' otherwise."""

    item: Item
    answer: Answer | None
    late: str = ""

    def said(self, answer: str) -> bool:
        return self.answer is not None and self.answer.answer == answer


@dataclass(frozen=True)
class JobOverview:
    """`checked` by the lists' names; `passes` are sentences about this board, of all its jobs, None
    where nobody asked: they take a look at every record."""

    job: Job
    runs: Sequence[HeatingRun]
    costs: JobCosts
    prices: Prices
    lists: Mapping[str, Checklist]
    checked: Mapping[str, Sequence[Checked]]
    passes: Sequence[str] | None

    def open_items(self, list_name: str) -> list[Item]:
        """Return the questions of a list without an answer."""
        return [one.item for one in self.checked[list_name] if one.answer is None]


def overview_of(store: RunStore, number: str | int, *, with_passes: bool = False) -> JobOverview:
    """Collect a job. Raises StoreError, NotReady (a checklist of the bench that is broken)."""
    book = JobBook(store)
    job = book.job(number)
    lists = checklists(store.path.parent)
    runs = runs_of(store, job)
    prices = prices_at(store.database, job.closed_utc)
    return JobOverview(
        job,
        runs,
        costs_of(job, runs, prices),
        prices,
        lists,
        {name: list(_checked(job, runs, known)) for name, known in lists.items()},
        passes_of_board(store, book.jobs(), job) if with_passes else None,
    )


def done_jobs(store: RunStore) -> list[DoneJob]:
    """Return every job with what it took, each at the prices of its time."""
    done = []
    for job in JobBook(store).jobs():
        runs = runs_of(store, job)
        prices = prices_at(store.database, job.closed_utc)
        done.append(DoneJob(job, runs, costs_of(job, runs, prices)))
    return done


def _checked(job: Job, runs: Sequence[HeatingRun], known: Checklist) -> Iterator[Checked]:
    confirmed = next((run for run in reversed(runs) if run.confirmed_utc), None)
    for item in known.items:
        answer = job.answers.get((known.name, item.id))
        if answer is None and known.name == BEFORE and item.asked_at_run and confirmed:
            at = confirmed.confirmed_utc or confirmed.started_utc
            answer = Answer(YES, "", at, by_run=confirmed.id)
        yield Checked(item, answer, _late(item, answer, runs))


def _late(item: Item, answer: Answer | None, runs: Sequence[HeatingRun]) -> str:
    if not item.same_day or answer is None or answer.answer != YES or not runs:
        return ""
    days = (_day(answer.answered_utc) - _day(runs[-1].ended_utc or runs[-1].started_utc)).days
    if days <= 0:
        return ""
    return f"told {days} day{'s' if days > 1 else ''} after the heat: look at it once more"


def _day(stored_utc: str) -> datetime:
    """Return the bench's own day of a stored time."""
    return (
        datetime.fromisoformat(stored_utc)
        .astimezone()
        .replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    )
