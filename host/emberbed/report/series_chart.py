"""A chart of records: what was asked for, what was measured, the power, the stages as they ran."""

from collections.abc import Mapping, Sequence

import numpy as np

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.report.chart_model import Band, Chart, Curve, Flag, Limit, Mark, Span
from emberbed.report.deed_kinds import STANDING
from emberbed.report.series import Deed, RunSeries
from emberbed.report.spells import Spell, held_spells, hot_air_spells
from emberbed.report.summary import in_stages
from emberbed.touch_words import mark_words
from emberbed_fw import messages
from emberbed_fw.plan import ROLE_ABSENT, ROLE_NAMES

STEPS_WITHIN_S = 15.0


def series_chart(
    series: RunSeries,
    plan: Plan | None,
    names: Mapping[int, str],
    marks: Sequence[Mark],
    title: str,
) -> Chart:
    """Return the chart of a series; `names` are the fitted channels by number."""
    measured = {
        channel: Curve(name, *series.drawn(series.channels_c[channel]), _role(plan, channel, name))
        for channel, name in names.items()
        if np.isfinite(series.channels_c[channel]).any()
    }
    return Chart(
        measured=list(measured.values()),
        asked=Curve("asked for", *series.drawn(series.setpoint_c)),
        power=Curve("power", *series.drawn(series.demand_percent)),
        stages=stage_bands(series, plan),
        events=marks,
        flags=flags_of(series),
        spans=_spans(series, plan),
        limits=_limits(series, plan, {channel: names[channel] for channel in measured}),
        title=title,
    )


def _role(plan: Plan | None, channel: int, name: str) -> str:
    """Return what a sensor is for in a word or two, '' where its name says it or nobody knows."""
    role = plan.header[f"role{channel}"] if plan else ROLE_ABSENT
    told = (words.name_at(ROLE_NAMES, role) or "").replace("_", " ")
    return "" if role == ROLE_ABSENT or told == name.replace("_", " ") else told


def flags_of(series: RunSeries) -> list[Flag]:
    """Return what a person marked or changed, as lines with words."""
    flags = [
        (float(series.seconds[deed.at]), _flag_words(series, deed))
        for number, deed in enumerate(series.deeds)
        if not _is_a_step(series, number)
    ]
    return [Flag(label, at_s) for at_s, label in flags if label]


def _is_a_step(series: RunSeries, number: int) -> bool:
    """Tell whether the target was shifted further right after: only the last step gets a line."""
    deed, following = series.deeds[number], series.deeds[number + 1 :][:1]
    return deed.touch == messages.OFFSET == next((d.touch for d in following), 0) and bool(
        series.seconds[following[0].at] - series.seconds[deed.at] < STEPS_WITHIN_S
    )


def _flag_words(series: RunSeries, deed: Deed) -> str:
    if deed.mark:
        return mark_words(deed.mark)
    if deed.touch in STANDING:
        return "held here" if deed.touch == messages.HOLD_HERE else "back to hold"
    if deed.touch == messages.OFFSET:
        return f"target {series.offset_c[deed.at]:+g} °C"
    return ""


def _limits(series: RunSeries, plan: Plan | None, names: Mapping[int, str]) -> list[Limit]:
    """Return the sensors' limits, equal ones together, the lowest first."""
    air = bool(plan and hot_air_spells(series, plan))
    by_limit: dict[tuple[int, bool], list[str]] = {}  # whether it is wider in hot air
    for channel, name in names.items():
        limit_cdeg = plan.header[f"limit{channel}_cdeg"] if plan else 0
        if plan and limit_cdeg > 0:
            wider = air and plan.header[f"air_limit{channel}_cdeg"] > limit_cdeg
            by_limit.setdefault((limit_cdeg, wider), []).append(name)
    return [
        Limit(cdeg / 100, "" if len(of) == len(names) else ", ".join(of), wider)
        for (cdeg, wider), of in sorted(by_limit.items())
    ]


def _spans(series: RunSeries, plan: Plan | None) -> list[Span]:
    air = [Span("hot air", *_ends(series, spell)) for spell in hot_air_spells(series, plan)]
    return air + [Span("held", *_ends(series, spell)) for spell in held_spells(series)]


def _ends(series: RunSeries, spell: Spell) -> tuple[float, float]:
    return float(series.seconds[spell.first]), float(series.seconds[spell.last])


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
