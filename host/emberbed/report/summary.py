"""The figures of a run: how fast, how hot, how long, and which limits were passed.

Takes records in tick order and, if it can be read, what the device was told to do. Temperatures in
degrees C, rates in C per s over windows of 10 s, times in s. Judges only what sensors saw: a joint
can be hotter or cooler than the bead beside it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.records import TickRecord
from emberbed.report.display import clock
from emberbed.report.series import RunSeries, series_of
from emberbed.report.slopes import WINDOW_S, window_slopes
from emberbed.report.spells import hot_air_spells
from emberbed_fw import plan as layout
from emberbed_fw import run_states
from emberbed_fw.units import CHANNELS, NONE, TICKS_PER_S

# J-STD-020 table 5-2: ramp up to the peak <= 3 C/s, down from it <= 6 C/s (facts.md 1a). Written
# for the package body from liquidus to peak; applied here to every sensor and the whole run.
RATE_SOURCE = "J-STD-020 table 5-2"
RAMP_LIMIT_C_PER_S = 3.0
COOLING_LIMIT_C_PER_S = 6.0

STAGE_STATES = (run_states.HOT_PROOF, run_states.RUN, run_states.WAIT, run_states.COOL)


@dataclass(frozen=True)
class StageFigures:
    """One stage: planned_s is None where the stage takes as long as it takes, in_band_s where the
    stage is no hold. cut_short: it ran, and something else than its own end ended it."""

    number: int  # from 1
    kind: str
    target_c: float
    planned_s: float | None
    taken_s: float
    in_band_s: float | None
    cut_short: bool = False


@dataclass(frozen=True)
class RunSummaryFigures:
    duration_s: float
    control_channel: int | None
    largest_ramp_c_per_s: float | None
    ramp_channel: int | None  # whose rate that is
    largest_cooling_c_per_s: float | None
    cooling_channel: int | None
    peaks_c: dict[int, float]  # by channel
    stages: list[StageFigures]
    energy_j: int
    longest_gap_s: float
    limits_exceeded: list[str]


def summarise(
    records: Iterable[TickRecord], plan: Plan | None, names: Mapping[int, str] | None = None
) -> RunSummaryFigures:
    """Return the figures of a run; `names` by channel are used in the sentences."""
    return summarise_series(series_of(records), plan, names)


def summarise_series(
    series: RunSeries, plan: Plan | None, names: Mapping[int, str] | None = None
) -> RunSummaryFigures:
    """Return the figures of a run whose records are columns already."""
    control = control_channel(series, plan)
    rates = {channel: _rates(series, channel) for channel in range(CHANNELS)}
    ramps = {channel: ramp for channel, (ramp, _) in rates.items() if ramp}
    falls = {channel: fall for channel in range(CHANNELS) if (fall := _cooling(series, channel))}
    ramp_channel = _speaker(series, ramps, control)
    cooling_channel = _speaker(series, falls, control)
    return RunSummaryFigures(
        duration_s=float(series.seconds[-1]) if len(series) else 0.0,
        control_channel=control,
        largest_ramp_c_per_s=None if ramp_channel is None else ramps[ramp_channel].c_per_s,
        ramp_channel=ramp_channel,
        largest_cooling_c_per_s=None if cooling_channel is None else falls[cooling_channel].c_per_s,
        cooling_channel=cooling_channel,
        peaks_c=_peaks(series),
        stages=_stage_figures(series, plan, control) if plan else [],
        energy_j=int(series.energy_j.max(initial=0)),
        longest_gap_s=series.longest_gap_s(),
        limits_exceeded=_limits_exceeded(series, plan, rates, names or {}),
    )


def control_channel(series: RunSeries, plan: Plan | None) -> int | None:
    """Return the channel that controls the heat, else the first with a reading, else None."""
    if plan is not None and plan.header["control0"] < CHANNELS:
        return plan.header["control0"]
    read = [c for c in range(CHANNELS) if np.isfinite(series.channels_c[c]).any()]
    return read[0] if read else None


@dataclass(frozen=True)
class _Rate:
    c_per_s: float
    at_s: float


def _speaker(series: RunSeries, rates: Mapping[int, _Rate], control: int | None) -> int | None:
    """Return the channel whose rate is told: the control sensor while it reads, else the hottest
    sensor that does."""
    if control in rates:
        return control
    peaks = _peaks(series)
    return max(rates, key=lambda channel: peaks[channel], default=None)


def _cooling(series: RunSeries, channel: int) -> _Rate | None:
    """Return the fastest fall while the run cooled, None where the sensor read no whole window."""
    return _rates(series, channel, series.state == run_states.COOL)[1]


def _rates(
    series: RunSeries, channel: int, within: np.ndarray | bool = True
) -> tuple[_Rate | None, _Rate | None]:
    """Return the fastest rise and the fastest fall, both positive; None without a window."""
    read = np.isfinite(series.channels_c[channel]) & within
    middles, slopes = window_slopes(series.seconds[read], series.channels_c[channel][read])
    if not len(slopes):
        return None, None
    up, down = int(slopes.argmax()), int(slopes.argmin())
    return (
        _Rate(max(0.0, float(slopes[up])), float(middles[up])),
        _Rate(max(0.0, -float(slopes[down])), float(middles[down])),
    )


def _peaks(series: RunSeries) -> dict[int, float]:
    return {
        channel: float(np.nanmax(readings))
        for channel, readings in enumerate(series.channels_c)
        if np.isfinite(readings).any()
    }


def in_stages(series: RunSeries) -> np.ndarray:
    """Return for each record whether it belongs to one of the profile's stages."""
    return np.isin(series.state, STAGE_STATES) & (series.stage != NONE)


def _stage_figures(series: RunSeries, plan: Plan, control: int | None) -> list[StageFigures]:
    in_a_stage = in_stages(series)
    cut = _cut_short(series)
    figures = []
    for number, stage in enumerate(plan.stages):
        inside = in_a_stage & (series.stage == number)
        figures.append(
            StageFigures(
                number=number + 1,
                kind=words.stage_words(stage["kind"]),
                target_c=stage["target_cdeg"] / 100,
                planned_s=_planned_s(plan, number),
                taken_s=float(series.step_s[inside].sum()),
                in_band_s=_in_band_s(series, stage, inside, control),
                cut_short=number in cut,
            )
        )
    return figures


def _cut_short(series: RunSeries) -> set[int]:
    """Return the stages (from 0) in which heat was taken away, or the record ends."""
    cut = set()
    spoilt = np.flatnonzero(series.verdict != run_states.NO_VERDICT)
    if len(spoilt) and spoilt[0] > 0 and series.verdict[spoilt[0]] != run_states.FINISHED:
        cut.add(int(series.stage[spoilt[0] - 1]))
    if len(series) and series.state[-1] not in run_states.END_EVENTS:
        cut.add(int(series.stage[-1]))
    return cut - {NONE}


def _planned_s(plan: Plan, number: int) -> float | None:
    knots = plan.knots_of(number)
    if plan.stages[number]["kind"] not in (layout.RAMP, layout.HOLD) or not knots:
        return None
    return knots[-1]["tick"] / TICKS_PER_S


def _in_band_s(
    series: RunSeries, stage: Mapping[str, int], inside: np.ndarray, control: int | None
) -> float | None:
    if stage["kind"] != layout.HOLD or control is None:
        return None
    asked_c = stage["target_cdeg"] / 100 + series.offset_c  # a person may have shifted it
    away_cdeg = np.abs(series.channels_c[control] - asked_c) * 100
    # half a hundredth: readings are whole hundredths, and away_cdeg is not exact
    in_band = inside & (away_cdeg <= stage["band_cdeg"] + 0.5)
    return float(series.lasts_s[in_band].sum())


def _limits_exceeded(
    series: RunSeries,
    plan: Plan | None,
    rates: Mapping[int, tuple[_Rate | None, _Rate | None]],
    names: Mapping[int, str],
) -> list[str]:
    sentences = []
    for channel in range(CHANNELS):
        if not _judged(plan, channel):
            continue
        name = names.get(channel, f"channel {channel}")
        ramp, cooling = rates[channel]
        if ramp and ramp.c_per_s > RAMP_LIMIT_C_PER_S:
            sentences.append(_too_fast(name, "rose", ramp, RAMP_LIMIT_C_PER_S))
        if cooling and cooling.c_per_s > COOLING_LIMIT_C_PER_S:
            sentences.append(_too_fast(name, "fell", cooling, COOLING_LIMIT_C_PER_S))
    return sentences + _too_hot(series, plan, names)


def _judged(plan: Plan | None, channel: int) -> bool:
    """Tell whether the rate of a channel is that of a board: not the heater, not in an air jet."""
    if plan is None:
        return True
    in_jet = plan.header["in_jet_channels"] >> channel & 1
    return not in_jet and plan.header[f"role{channel}"] != layout.ROLE_EMITTER


def _too_fast(name: str, went: str, rate: _Rate, limit: float) -> str:
    return (
        f"{name} {went} by {rate.c_per_s:.2f} °C/s over {WINDOW_S:.0f} s at {clock(rate.at_s)};"
        f" {RATE_SOURCE} allows {limit:.0f} °C/s."
    )


def _too_hot(series: RunSeries, plan: Plan | None, names: Mapping[int, str]) -> list[str]:
    """Judge each sensor by its limit of the time: a wider one holds once hot air has been on."""
    if plan is None:
        return []
    spells = hot_air_spells(series, plan)
    begun = spells[0].first if spells else len(series.seconds)
    sentences = []
    for channel in _peaks(series):
        name = names.get(channel, f"channel {channel}")
        for part, key in ((slice(0, begun), "limit"), (slice(begun, None), "air_limit")):
            readings_c = series.channels_c[channel][part]
            limit_c = plan.header[f"{key}{channel}_cdeg"] / 100
            if limit_c <= 0 or np.isnan(readings_c).all() or np.nanmax(readings_c) <= limit_c:
                continue
            at_s = float(series.seconds[part][np.nanargmax(readings_c)])
            sentences.append(
                f"{name} reached {np.nanmax(readings_c):.2f} °C at {clock(at_s)}; its limit in"
                f" this run was {limit_c:.2f} °C."
            )
            break
    return sentences
