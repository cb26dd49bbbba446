"""What a run came to, held against what was wanted: by its profile, or by a published rule.

Takes a collected run and gives rows of text with a judgement in a word; '' where nothing was
wanted. Sources: J-STD-020 table 5-2 (rates, time above liquidus, time near the peak: the most a
package is made for, not a recipe); spread under 15 °C, better 10 °C, is a chip maker's sheet for
rework. A sensor is not the joint.
"""

from collections.abc import Iterator
from typing import NamedTuple

from emberbed.profiles.compile import Plan
from emberbed.report import display
from emberbed.report.run_view import RunView
from emberbed.report.summary import COOLING_LIMIT_C_PER_S, RAMP_LIMIT_C_PER_S
from emberbed.report.work_figures import seconds_above
from emberbed_fw import plan as layout

NEAR_PEAK_C = 5.0
MOST_ABOVE_LIQUIDUS_S = 150.0  # J-STD-020 table 5-2, both kinds of solder
MOST_SPREAD_C = 15.0
BETTER_SPREAD_C = 10.0
_HOLD_SLACK_S = 1.0  # the device counts ticks; a second less is no shorter soak
KEPT, EXCEEDED = "kept", "exceeded"
SHORT, LONG, WIDE = "shorter", "longer", "wider"  # than a figure that is no limit of the run

HEADS = ("", "measured", "wanted", "")


class Wanted(NamedTuple):
    """One row of the table."""

    name: str
    measured: str
    wanted: str
    judged: str = ""


def wanted_rows(view: RunView) -> list[Wanted]:
    """Return the table; figures that no sensor gave are left out."""
    return [*_ramp(view), *_holds(view), *_heat(view), *_cooling(view), *_spread(view)]


def _ramp(view: RunView) -> Iterator[Wanted]:
    figures = view.figures
    if figures.largest_ramp_c_per_s is None:
        return
    fastest = max((rate for rate in _rates(view.plan)), default=None)
    most = f"at most {RAMP_LIMIT_C_PER_S:g} °C/s"
    yield Wanted(
        "fastest ramp, over 10 s",
        _seen_at(view, display.rate(figures.largest_ramp_c_per_s), figures.ramp_channel),
        most if fastest is None else f"{display.rate(fastest)} by the profile; {most}",
        _within(figures.largest_ramp_c_per_s, RAMP_LIMIT_C_PER_S),
    )


def _rates(plan: Plan | None) -> Iterator[float]:
    """Yield the mean rate of each ramp of the profile, in °C/s."""
    for number, stage in enumerate(plan.stages if plan else []):
        knots = plan.knots_of(number) if plan else []
        if stage["kind"] == layout.RAMP and len(knots) > 1 and knots[-1]["tick"]:
            rise_cdeg = knots[-1]["setpoint_cdeg"] - knots[0]["setpoint_cdeg"]
            yield rise_cdeg / 10 / knots[-1]["tick"]  # hundredths and ticks of a tenth


def _holds(view: RunView) -> Iterator[Wanted]:
    for stage in view.figures.stages:
        if stage.in_band_s is None or not stage.taken_s:
            continue
        short = stage.planned_s is not None and stage.in_band_s < stage.planned_s - _HOLD_SLACK_S
        yield Wanted(
            f"soak, stage {stage.number}, within its band",
            display.clock(stage.in_band_s),
            f"{display.clock(stage.planned_s)} at {stage.target_c:g} °C",
            SHORT if short else KEPT,
        )


def _heat(view: RunView) -> Iterator[Wanted]:
    work, channel = view.work, view.work.chip_channel
    if channel is None or channel not in view.figures.peaks_c:
        return
    peak_c = view.figures.peaks_c[channel]
    readings_c = view.series.channels_c[channel]
    near_s = seconds_above(view.series.seconds, readings_c, peak_c - NEAR_PEAK_C)
    if work.liquidus_c is not None:
        above_s = work.above_liquidus_s or 0.0
        yield Wanted(
            f"time above liquidus, {work.liquidus_c:g} °C",
            _seen_at(view, display.clock(above_s) if above_s else "not reached", channel),
            f"at most {display.clock(MOST_ABOVE_LIQUIDUS_S)}",
            _within(above_s, MOST_ABOVE_LIQUIDUS_S, LONG) if above_s else "",
        )
    yield from _peaks(view)
    yield Wanted(
        f"within {NEAR_PEAK_C:g} °C of the peak", _seen_at(view, display.clock(near_s), channel), ""
    )


def _peaks(view: RunView) -> Iterator[Wanted]:
    """Yield the peak of the sensor in control, and of the chip's where there is one."""
    chip = view.work.chip_channel if view.work.chip_on_top else None
    for channel in dict.fromkeys((view.figures.control_channel, chip)):
        peak_c = None if channel is None else view.figures.peaks_c.get(channel)
        if channel is None or peak_c is None:
            continue
        limit_c, air_limit_c = limits_c(view, channel)
        targets = [stage.target_c for stage in view.figures.stages if stage.taken_s]
        asked = channel == view.figures.control_channel and targets
        said = [f"{max(targets):g} °C by the profile"] if asked else []
        said += [limit_words(view, channel)] if limit_c else []
        yield Wanted(
            "peak",
            _seen_at(view, display.celsius(peak_c), channel),
            "; ".join(said),
            _within(peak_c, max(limit_c, air_limit_c)) if limit_c else "",
        )


def limits_c(view: RunView, channel: int) -> tuple[float, float]:
    """Return a sensor's limit before hot air and once it was on, 0 for none; equal without it."""
    if view.plan is None:
        return 0.0, 0.0
    limit_c = view.plan.header[f"limit{channel}_cdeg"] / 100
    air_limit_c = view.plan.header[f"air_limit{channel}_cdeg"] / 100
    return limit_c, air_limit_c if view.work.hot_air else limit_c


def limit_words(view: RunView, channel: int) -> str:
    limit_c, air_limit_c = limits_c(view, channel)
    if not limit_c:
        return ""
    later = "" if air_limit_c == limit_c else f", {air_limit_c:g} °C in hot air"
    return f"at most {limit_c:g} °C{later}"


def _cooling(view: RunView) -> Iterator[Wanted]:
    figures, plan = view.figures, view.plan
    if figures.largest_cooling_c_per_s is None:
        return
    stages = plan.stages if plan else []
    allowed = [s["fastest_cdeg_per_min"] / 6000 for s in stages if s["kind"] == layout.COOL]
    most = f"at most {COOLING_LIMIT_C_PER_S:g} °C/s"
    fan = f"fan pauses above {display.rate(allowed[0])}; " if allowed and allowed[0] else ""
    yield Wanted(
        "fastest cooling, over 10 s",
        _seen_at(view, display.rate(figures.largest_cooling_c_per_s), figures.cooling_channel),
        f"{fan}{most}",
        _within(figures.largest_cooling_c_per_s, COOLING_LIMIT_C_PER_S),
    )


def _spread(view: RunView) -> Iterator[Wanted]:
    if view.work.spread_c is None:
        return
    yield Wanted(
        "largest spread between sensors",
        f"{display.celsius(view.work.spread_c)} at {display.clock(view.work.spread_at_s)}",
        f"under {MOST_SPREAD_C:g} °C, better {BETTER_SPREAD_C:g} °C",
        _within(view.work.spread_c, MOST_SPREAD_C, WIDE),
    )


def _within(measured: float, most: float, otherwise: str = EXCEEDED) -> str:
    return KEPT if measured <= most else otherwise


def _seen_at(view: RunView, said: str, channel: int | None) -> str:
    return said if channel is None else f"{said} at {view.names.get(channel, f'channel {channel}')}"
