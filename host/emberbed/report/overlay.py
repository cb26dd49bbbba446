"""Several runs in one picture, moved so that the same stage begins at the same place in each."""

from collections.abc import Sequence

import numpy as np

from emberbed.report.chart_model import Chart, Curve, Flag
from emberbed.report.series import RunSeries, series_of
from emberbed.report.summary import in_stages
from emberbed.store.meaning import channel_names_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun

_PART = 9  # characters of a long name's beginning and end
MOST_RUNS = 8  # as many as there are colours and line styles


class NotTogether(Exception):
    """These runs cannot be laid over each other; one sentence."""


def overlay_chart(
    store: RunStore, runs: Sequence[StoredRun], stage: int, sensor: str | None = None
) -> Chart:
    """Return the chart of these runs; `stage` counts from 1, `sensor` None is the one in control.

    Raises NotTogether.
    """
    if not 2 <= len(runs) <= MOST_RUNS:
        raise NotTogether(f"2 to {MOST_RUNS} runs can be laid over each other, not {len(runs)}")
    series = [series_of(store.records(run.id)) for run in runs]
    begins_s = [_begin_s(run, one, stage - 1) for run, one in zip(runs, series, strict=True)]
    aligned_s = max(begins_s)
    profiles = {run.profile_name for run in runs}
    curves = [
        Curve(
            f"run {run.id}",
            *_moved(one, _channel_of(run, sensor), aligned_s - begin_s),
            _shortened(run.profile_name) if len(profiles) > 1 else "",
        )
        for run, one, begin_s in zip(runs, series, begins_s, strict=True)
    ]
    numbers = ", ".join(str(run.id) for run in runs)
    return Chart(
        measured=curves,
        flags=(Flag(f"stage {stage} begins", aligned_s),),
        title=f"Runs {numbers}, stage {stage} together",
        upright=f"temperature of {_sensor_words(runs, sensor)}",
    )


def _sensor_words(runs: Sequence[StoredRun], sensor: str | None) -> str:
    """Return the one name of the sensors, or what they have in common."""
    names = {channel_names_of(run).get(_channel_of(run, sensor), "") for run in runs}
    return names.pop() if len(names) == 1 else "the sensor in control"


def _shortened(name: str) -> str:
    """Return a profile's name for the margin: names often differ at their ends alone."""
    return (
        name if len(name) <= 2 * _PART + 1 else f"{name[:_PART].rstrip()}…{name[-_PART:].lstrip()}"
    )


def _begin_s(run: StoredRun, series: RunSeries, stage: int) -> float:
    reached = np.flatnonzero(in_stages(series) & (series.stage == stage))
    if not len(reached):
        raise NotTogether(f"Run {run.id} never came to stage {stage + 1}: name another --stage")
    return float(series.seconds[reached[0]])


def _channel_of(run: StoredRun, sensor: str | None) -> int:
    names = channel_names_of(run)
    if sensor is None:
        plan = plan_of(run)
        return plan.header["control0"] if plan is not None else min(names)
    for channel, name in names.items():
        if name == sensor:
            return channel
    known = ", ".join(names.values())
    raise NotTogether(f"Run {run.id} has no sensor {sensor}: use one of {known}")


def _moved(series: RunSeries, channel: int, by_s: float) -> tuple[np.ndarray, np.ndarray]:
    seconds, values = series.drawn(series.channels_c[channel])
    return seconds + by_s, values
