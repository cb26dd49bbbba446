"""A chart of records: what was asked for, what was measured, the power, the stages as they ran."""

from collections.abc import Mapping, Sequence

import numpy as np

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.report.chart_model import Band, Chart, Curve, Mark
from emberbed.report.series import RunSeries
from emberbed.report.summary import in_stages


def series_chart(
    series: RunSeries,
    plan: Plan | None,
    names: Mapping[int, str],
    marks: Sequence[Mark],
    title: str,
) -> Chart:
    """Return the chart of a series; `names` are the fitted channels by number."""
    measured = [
        Curve(name, *series.drawn(series.channels_c[channel]))
        for channel, name in names.items()
        if np.isfinite(series.channels_c[channel]).any()
    ]
    return Chart(
        measured=measured,
        asked=Curve("asked for", *series.drawn(series.setpoint_c)),
        power=Curve("power", *series.drawn(series.demand_percent)),
        stages=stage_bands(series, plan),
        events=marks,
        title=title,
    )


def stage_bands(series: RunSeries, plan: Plan | None) -> list[Band]:
    """Return the stages as they were really run."""
    inside = in_stages(series)
    bands = []
    for number in dict.fromkeys(series.stage[inside].tolist()):
        seconds = series.seconds[inside & (series.stage == number)]
        kind = "stage"
        if plan and number < len(plan.stages):  # the record may be damaged
            kind = words.stage_words(plan.stages[number]["kind"])
        bands.append(Band(f"{number + 1} {kind}", seconds[0], seconds[-1], str(number + 1)))
    return bands
