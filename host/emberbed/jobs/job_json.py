"""A job as plain data, for scripts and for the bench page: units in the keys, amounts as text."""

from collections.abc import Sequence
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path
from typing import Any

from emberbed.jobs.costs import JOULES_PER_KWH, JobCosts
from emberbed.jobs.kept_files import FOLDER
from emberbed.jobs.model import OUTCOMES, Job, PhotoEntry
from emberbed.jobs.overview import Checked, JobOverview
from emberbed.jobs.prices import CENT
from emberbed.jobs.run_figures import HeatingRun
from emberbed.jobs.statistics import GroupFigures


def job_row(job: Job) -> dict[str, Any]:
    """Return a job as one row of a list."""
    return {
        "job": job.id,
        "opened_utc": job.opened_utc,
        "closed_utc": job.closed_utc,
        "board": job.board,
        "serial": job.serial,
        "fault": job.fault,
        "found": job.found,
        "outcome": job.outcome,
        "outcome_words": OUTCOMES.get(job.outcome or "", ""),
        "outcome_note": job.outcome_note,
        "runs": list(job.runs),
        "photos": len(job.photos),
    }


def job_json(overview: JobOverview, folder: Path) -> dict[str, Any]:
    """Return all of a job; `folder` is that of the store, in which the copies lie."""
    job = overview.job
    return {
        **job_row(job),
        "minutes": job.minutes,
        "worth": _text(job.worth),
        "runs": [run_row(run) for run in overview.runs],
        "passes": None if overview.passes is None else list(overview.passes),
        "checks": {
            name: [check_row(one) for one in checked] for name, checked in overview.checked.items()
        },
        "parts": [{**asdict(part), "each": _text(part.each)} for part in job.parts],
        "photos": [photo_row(photo, folder) for photo in job.photos],
        "tests": [asdict(test) for test in job.tests],
        "costs": costs_row(overview.costs, overview.prices.currency),
    }


def run_row(run: HeatingRun) -> dict[str, Any]:
    return {
        "run": run.id,
        "started_utc": run.started_utc,
        "profile": run.profile,
        "state": run.state,
        "limits_exceeded": run.limits_exceeded,
        "heating_s": run.seconds,
        "energy_j": run.energy_j,
        "simulated": run.simulated,
    }


def check_row(checked: Checked) -> dict[str, Any]:
    item, answer = checked.item, checked.answer
    return {
        "id": item.id,
        "short": item.short,
        "asks": item.asks,
        "why": item.why,
        "own": item.own,
        "answer": answer and answer.answer,
        "note": answer.note if answer else "",
        "answered_utc": answer and answer.answered_utc,
        "by_run": answer and answer.by_run,
        "late": checked.late,
    }


def photo_row(photo: PhotoEntry, folder: Path) -> dict[str, Any]:
    return {**asdict(photo), "copy": str(folder / FOLDER / photo.file)}


def costs_row(costs: JobCosts, currency: str) -> dict[str, Any]:
    """Return what a job took; amounts are null where a price is missing."""
    return {
        "currency": currency,
        "energy_kwh": None if costs.energy_j is None else round(costs.energy_j / JOULES_PER_KWH, 5),
        "heating_s": costs.heating_s,
        "minutes": costs.minutes,
        "minutes_told": costs.minutes_told,
        "energy": _cents(costs.energy),
        "hands": _cents(costs.hands),
        "parts": _cents(costs.parts),
        "total": _cents(costs.total()),
        "missing": list(costs.missing),
        "worth": _cents(costs.worth),
    }


def group_row(figures: GroupFigures, keys: Sequence[str]) -> dict[str, Any]:
    """Return the figures of a group of jobs."""
    amounts = {
        name: _cents(getattr(figures, name)) for name in ("mean_cost", "cost_per_success", "gain")
    }
    return {
        **dict(zip(keys, figures.group, strict=True)),
        "jobs": figures.jobs,
        "works": figures.works,
        "share": figures.works / figures.jobs,
        "share_low": figures.low,
        "share_high": figures.high,
        "mean_energy_j": figures.mean_energy_j,
        "mean_heating_s": figures.mean_heating_s,
        "mean_minutes": figures.mean_minutes,
        **amounts,
        "priced": figures.priced,
    }


def _text(amount: Decimal | None) -> str | None:
    return None if amount is None else str(amount)


def _cents(amount: Decimal | None) -> str | None:
    return None if amount is None else str(amount.quantize(CENT))
