"""A job, a list of jobs and their statistics as lines for a person."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path

from emberbed.jobs.checklists import ANSWERS
from emberbed.jobs.costs import JOULES_PER_KWH, JobCosts
from emberbed.jobs.journal import Entry
from emberbed.jobs.kept_files import FOLDER
from emberbed.jobs.model import OUTCOMES, PHOTO_KINDS, TEST_KINDS, Job, TestEntry, TestLog
from emberbed.jobs.overview import NO, YES, Checked, JobOverview
from emberbed.jobs.prices import money
from emberbed.jobs.run_figures import HeatingRun
from emberbed.jobs.statistics import GroupFigures
from emberbed.report.display import NOTHING, celsius, clock, local_minute
from emberbed.words import verdict_words

BETWEEN = "  "
STILL_OPEN = "open"
HEADINGS = ("job", "opened", "board", "serial", "fault", "came of it")
STATISTICS_NOTE = (
    "Share: boards that work, of those that were tried; beside it what it can be, 95 % sure"
    " (Wilson's interval). A job counts under the profile of its last run."
)


def job_lines(overview: JobOverview, folder: Path) -> Iterator[str]:
    """Give all of a job; `folder` is that of the store."""
    job = overview.job
    yield f"{job.title()}, opened {local_minute(job.opened_utc)}"
    yield f"{_state(job)}"
    yield from (f"{head}: {told}" for head, told in _told(job) if told)
    yield from (_run_line(run) for run in overview.runs)
    yield from overview.passes or ()
    for name, known in overview.lists.items():
        yield from _check_lines(known.title, overview.checked[name])
    for part in job.parts:
        each = "" if part.each is None else f", {money(part.each, overview.prices.currency)} each"
        yield f"Part {part.number}: {part.count} x {part.name}{each}"
    for photo in job.photos:
        note = f", {photo.note}" if photo.note else ""
        copy = folder / FOLDER / photo.file
        yield f"Photograph {photo.number}, {PHOTO_KINDS[photo.kind]}{note}: {photo.name} ({copy})"
    for test in job.tests:
        yield from test_lines(test)
    yield from cost_lines(overview.costs, overview.prices.currency)
    unanswered = [name for name in overview.lists if overview.open_items(name)]
    if unanswered:
        yield f"Answer what is open with: emberbed job check {job.id} {unanswered[0]}"


def check_lines(overview: JobOverview, list_name: str) -> Iterator[str]:
    """Give every question of a list with its answer and why it is asked."""
    yield f"{overview.lists[list_name].title}:"
    for one in overview.checked[list_name]:
        yield f"{one.item.id}: {one.item.asks}"
        yield f"    {_answer(one)}. {one.item.why}".rstrip()


def closing_lines(overview: JobOverview) -> Iterator[str]:
    """Say that a job is closed, and which questions nobody answered."""
    yield f"{overview.job.title()}. {_state(overview.job)}"
    for name, known in overview.lists.items():
        missing = overview.open_items(name)
        if missing:
            said = ", ".join(item.short for item in missing)
            yield f"{known.title}, without an answer: {said}"
    yield from cost_lines(overview.costs, overview.prices.currency)


def entry_line(entry: Entry) -> str:
    """Return one entry of a job's history."""
    said = "taken back" if entry.value is None else json.dumps(entry.value, ensure_ascii=False)
    return f"{local_minute(entry.entered_utc)}  {entry.subject}: {said}"


def test_lines(test: TestEntry) -> Iterator[str]:
    minutes = f", {test.minutes} min" if test.minutes is not None else ""
    note = f": {test.note}" if test.note else ""
    verdict = "passed" if test.passed else "failed"
    kind = TEST_KINDS[test.kind]
    yield f"{kind.capitalize()} {test.number} {verdict}{minutes}{note}"
    if test.log:
        yield from log_lines(test.log)


def log_lines(log: TestLog) -> Iterator[str]:
    """Give how hot each sensor of a temperature log got."""
    for column in log.columns:
        yield (
            f"    {column.name}: peak {celsius(column.peak_c)}, mean {celsius(column.mean_c)} over"
            f" {clock(log.seconds)} ({log.name})"
        )


def cost_lines(costs: JobCosts, currency: str) -> Iterator[str]:
    energy = "not known" if costs.energy_j is None else f"{costs.energy_j / JOULES_PER_KWH:.3f} kWh"
    yield f"Heat: {energy} of the bottom heater, {money(costs.energy, currency)}"
    if costs.minutes is None:
        yield f"Work: {NOTHING}"
    else:
        told = "" if costs.minutes_told else ", taken from the runs as nobody told another time"
        yield f"Work: {costs.minutes} min, {money(costs.hands, currency)}{told}"
    lacks = f", without {' and '.join(costs.missing)}" if costs.missing else ""
    yield f"Parts: {money(costs.parts, currency)}"
    yield f"Together: {money(costs.total(), currency)}{lacks}"
    if costs.worth is not None:
        yield f"The working board is worth: {money(costs.worth, currency)}"


def list_lines(jobs: Sequence[Job]) -> list[str]:
    """Return a table of jobs."""
    return table_lines(HEADINGS, [_cells(job) for job in jobs])


def statistics_lines(
    figures: Sequence[GroupFigures], keys: Sequence[str], currency: str
) -> list[str]:
    """Return the figures of groups of jobs as a table, and what they mean."""
    heads = (*keys, "jobs", "work", "share", "heat", "hands", "cost each", "per success", "left")
    lines = table_lines(heads, [_group_cells(one, currency) for one in figures])
    return [*lines, STATISTICS_NOTE]


def table_lines(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows under their heads, each column as wide as it has to be."""
    table = [heads, *rows]
    widths = [max(len(row[n]) for row in table) for n in range(len(heads))]
    return [
        BETWEEN.join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in table
    ]


def _state(job: Job) -> str:
    if job.outcome is None or job.closed_utc is None:
        return f"It is {STILL_OPEN}."
    note = f": {job.outcome_note}" if job.outcome_note else ""
    return f"Closed {local_minute(job.closed_utc)}, {OUTCOMES[job.outcome]}{note}"


def _told(job: Job) -> Iterator[tuple[str, str]]:
    yield "Fault", job.fault
    yield "Found", job.found


def _run_line(run: HeatingRun) -> str:
    told = verdict_words(run.state, run.limits_exceeded, run.energy_j).rstrip(".")
    simulated = ", simulated" if run.simulated else ""
    when, lasted = local_minute(run.started_utc), clock(run.seconds)
    return f"Run {run.id}, {when}, {run.profile}, {lasted}{simulated}. {told}."


def _check_lines(title: str, checked: Sequence[Checked]) -> Iterator[str]:
    good = sum(one.said(YES) for one in checked)
    yield f"{title}: {good} of {len(checked)} yes"
    for one in checked:
        if one.late or one.said(NO) or (one.answer and one.answer.note):
            yield f"    {one.item.short}: {_answer(one)}"
    missing = [one.item.short for one in checked if one.answer is None]
    if missing:
        yield f"    no answer: {', '.join(missing)}"


def _answer(one: Checked) -> str:
    answer = one.answer
    if answer is None:
        return "no answer"
    by = f" (confirmed before run {answer.by_run})" if answer.by_run is not None else ""
    parts = [f"{ANSWERS[answer.answer]}{by}", answer.note, one.late]
    return ", ".join(part for part in parts if part)


def _cells(job: Job) -> tuple[str, ...]:
    outcome = OUTCOMES[job.outcome] if job.outcome else STILL_OPEN
    return (str(job.id), local_minute(job.opened_utc), job.board, job.serial, job.fault, outcome)


def _group_cells(one: GroupFigures, currency: str) -> tuple[str, ...]:
    share = f"{one.works / one.jobs:.0%} ({one.low:.0%} to {one.high:.0%})"
    kwh = NOTHING if one.mean_energy_j is None else f"{one.mean_energy_j / JOULES_PER_KWH:.3f} kWh"
    minutes = NOTHING if one.mean_minutes is None else f"{one.mean_minutes:.0f} min"
    amounts = (one.mean_cost, one.cost_per_success, one.gain)
    cells = [NOTHING if amount is None else money(amount, currency) for amount in amounts]
    return (*one.group, str(one.jobs), str(one.works), share, kwh, minutes, *cells)
