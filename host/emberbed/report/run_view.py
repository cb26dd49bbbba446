"""Everything the run page shows, collected from the store once and decoded.

Nothing here is HTML. Text that came from a profile, a device or a person stays as it was stored;
who shows it must escape it.
"""

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from emberbed.calibration.known import EVENT, Known, read_sentence
from emberbed.device_description import DeviceDescription
from emberbed.materials.book import alloys
from emberbed.profiles.compile import Plan
from emberbed.profiles.limits import DEFAULT_HOT_AIR_PROMPT
from emberbed.report.chart_model import Chart, Mark
from emberbed.report.deed_kinds import CHANGES
from emberbed.report.deeds import Moment, moments_of
from emberbed.report.ending import Ending, ending_of
from emberbed.report.series import RunSeries, series_of
from emberbed.report.series_chart import series_chart
from emberbed.report.summary import RunSummaryFigures, summarise_series
from emberbed.report.work_figures import WorkFigures, work_figures
from emberbed.store.meaning import channel_names_of, description_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunEvent, StoredRun
from emberbed_fw.units import NONE

ASKS = ("wait", "hot_air")  # kinds of stages with a prompt, in a profile's words


@dataclass(frozen=True)
class RunView:
    run: StoredRun
    plan: Plan | None
    device: DeviceDescription | None
    names: dict[int, str]  # of the fitted channels, by number
    profile: dict[str, Any]  # the profile file as bare data, {} when it cannot be read
    series: RunSeries
    figures: RunSummaryFigures
    work: WorkFigures
    moments: list[Moment]  # the stored events and what people did
    audit: list[str]
    ending: Ending
    calibrated: dict[str, Known]  # what its record tells of calibrations, by sensor


def view_of(store: RunStore, run_id: int) -> RunView:
    """Collect run `run_id` of `store`."""
    run = store.run(run_id)
    plan, names = plan_of(run), channel_names_of(run)
    series = series_of(store.records(run_id))
    events = store.events(run_id)
    tripped = np.flatnonzero(series.trip)
    trip_tick = int(series.tick[tripped[0]]) if len(tripped) else None
    profile = profile_data(run.profile_toml)
    changed = any(deed.touch in CHANGES for deed in series.deeds)
    return RunView(
        run=run,
        plan=plan,
        device=description_of(run),
        names=names,
        profile=profile,
        series=series,
        figures=summarise_series(series, plan, names),
        work=work_figures(series, plan, liquidus_c(profile)),
        moments=moments_of(series, plan, events),
        audit=store.audit(run_id),
        ending=ending_of(store, run, events, trip_tick, changed),
        calibrated=calibrated_in(events),
    )


def calibrated_in(events: Iterable[RunEvent]) -> dict[str, Known]:
    """Return the calibrations that were in force, by the sensor's name."""
    told = (read_sentence(event.sentence) for event in events if event.kind == EVENT)
    return {known.name: known for known in told if known is not None}


def chart_of(view: RunView) -> Chart:
    """Return the run as a chart: what was asked for, what was measured, and the power."""
    marks = [
        Mark(str(moment.number), moment.at_s)
        for moment in view.moments
        if moment.number is not None and moment.at_s is not None
    ]
    title = f"Run {view.run.id}: temperatures and power over time"
    return series_chart(view.series, view.plan, view.names, marks, title)


def prompt_of(view: RunView, stage: int) -> str:
    """Return what stage number `stage` (from 0) asks a person to do, '' for nothing."""
    number = view.plan.stages[stage]["prompt"] if view.plan else NONE
    stages = view.profile.get("stages")
    rows = [row for row in stages if isinstance(row, dict)] if isinstance(stages, list) else []
    prompts = [row.get("prompt", DEFAULT_HOT_AIR_PROMPT) for row in rows if row.get("kind") in ASKS]
    return str(prompts[number]) if number < len(prompts) else ""


def liquidus_c(profile: dict[str, Any]) -> float | None:
    """Return the liquidus of the profile's solder, None where the book does not know it."""
    name = profile.get("alloy")
    alloy = alloys().get(name) if isinstance(name, str) else None
    return None if alloy is None else alloy.liquidus_c


def profile_data(profile_toml: str) -> dict[str, Any]:
    """Return a profile file as bare data, {} when it cannot be read."""
    try:
        return tomllib.loads(profile_toml)
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}
