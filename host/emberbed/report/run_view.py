"""Everything the run page shows, collected from the store once and decoded.

Nothing here is HTML. Text that came from a profile, a device or a person stays as it was stored;
who shows it must escape it.
"""

import tomllib
from dataclasses import dataclass
from typing import Any

import numpy as np

from emberbed.device_description import DeviceDescription
from emberbed.profiles.compile import Plan
from emberbed.report.chart_model import Chart, Mark
from emberbed.report.ending import Ending, ending_of
from emberbed.report.series import RunSeries, series_of
from emberbed.report.series_chart import series_chart
from emberbed.report.summary import RunSummaryFigures, summarise_series
from emberbed.store.meaning import channel_names_of, description_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunEvent, StoredRun
from emberbed_fw.units import NONE


@dataclass(frozen=True)
class RunView:
    run: StoredRun
    plan: Plan | None
    device: DeviceDescription | None
    names: dict[int, str]  # of the fitted channels, by number
    profile: dict[str, Any]  # the profile file as bare data, {} when it cannot be read
    series: RunSeries
    figures: RunSummaryFigures
    events: list[RunEvent]
    audit: list[str]
    ending: Ending


def view_of(store: RunStore, run_id: int) -> RunView:
    """Collect run `run_id` of `store`."""
    run = store.run(run_id)
    plan, names = plan_of(run), channel_names_of(run)
    series = series_of(store.records(run_id))
    events = store.events(run_id)
    tripped = np.flatnonzero(series.trip)
    trip_tick = int(series.tick[tripped[0]]) if len(tripped) else None
    return RunView(
        run=run,
        plan=plan,
        device=description_of(run),
        names=names,
        profile=_profile_data(run.profile_toml),
        series=series,
        figures=summarise_series(series, plan, names),
        events=events,
        audit=store.audit(run_id),
        ending=ending_of(store, run, events, trip_tick),
    )


def chart_of(view: RunView) -> Chart:
    """Return the run as a chart: what was asked for, what was measured, and the power."""
    marks = [
        Mark(str(event.number), at_s)
        for event in view.events
        if (at_s := seconds_of(view, event)) is not None
    ]
    title = f"Run {view.run.id}: temperatures and power over time"
    return series_chart(view.series, view.plan, view.names, marks, title)


def seconds_of(view: RunView, event: RunEvent) -> float | None:
    """Return when an event happened, in seconds of the record; None when outside of it."""
    if event.tick is None or not len(view.series):
        return None
    at_s = view.series.seconds_of_tick(event.tick)
    return at_s if 0 <= at_s <= view.series.seconds[-1] else None


def prompt_of(view: RunView, stage: int) -> str:
    """Return what stage number `stage` (from 0) asks a person to do, '' for nothing."""
    number = view.plan.stages[stage]["prompt"] if view.plan else NONE
    stages = view.profile.get("stages")
    rows = [row for row in stages if isinstance(row, dict)] if isinstance(stages, list) else []
    prompts = [row.get("prompt") for row in rows if row.get("kind") == "wait"]
    return str(prompts[number]) if number < len(prompts) else ""


def _profile_data(profile_toml: str) -> dict[str, Any]:
    try:
        return tomllib.loads(profile_toml)
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}
