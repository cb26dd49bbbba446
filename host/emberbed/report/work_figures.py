"""What the work on a board came to: time above liquidus, under hot air, evenness, changes.

Takes a run as columns, what the device was told to do, and the solder's liquidus in degrees C.
Times in s. A level is crossed where the straight line between two readings crosses it; what no
sensor saw is not counted. The sensor is not the joint: these are figures of beads.
"""

from dataclasses import dataclass, field

import numpy as np

from emberbed.profiles.compile import Plan
from emberbed.report.deeds import chip_top_channel, touches_by_source
from emberbed.report.series import RunSeries
from emberbed.report.spells import Spell, held_spells, hot_air_spells, marked_pairs
from emberbed.report.summary import control_channel, in_stages
from emberbed_fw import messages, run_states
from emberbed_fw import plan as layout
from emberbed_fw.units import CHANNELS

MOST_STEP_S = 1.0  # between two readings; what lies in a longer gap was not seen
SPREAD_ROLES = (layout.ROLE_CONTROL, layout.ROLE_EDGE, layout.ROLE_PAIR)  # as the device judges it


@dataclass(frozen=True)
class WorkFigures:
    """`chip_channel` is the sensor that the time above liquidus is told of."""

    chip_channel: int | None = None
    chip_on_top: bool = False  # it lies on the chip; otherwise the control sensor stands for it
    liquidus_c: float | None = None
    above_liquidus_s: float | None = None
    moves_to_away_s: list[float] = field(default_factory=list)  # solder moves -> air away
    hot_air: list[Spell] = field(default_factory=list)
    hot_air_s: float = 0.0
    held: list[Spell] = field(default_factory=list)
    held_s: float = 0.0
    spread_c: float | None = None  # the largest while heating
    spread_at_s: float | None = None
    hold_spreads_c: dict[int, float] = field(default_factory=dict)  # by stage from 0
    touches: dict[int, int] = field(default_factory=dict)  # by source
    marks: int = 0


def work_figures(
    series: RunSeries, plan: Plan | None, liquidus_c: float | None = None
) -> WorkFigures:
    """Return the figures of a run's work; without a liquidus no time above it is told."""
    top = chip_top_channel(series, plan)
    chip = control_channel(series, plan) if top is None else top
    air, held = hot_air_spells(series, plan), held_spells(series)
    away = marked_pairs(series, messages.MARK_SOLDER_MOVES, messages.MARK_AIR_AWAY)
    spread = spread_c(series, plan)
    heating = np.isin(series.state, run_states.HEATING_STATES)
    largest_c, largest_at = _largest(spread, heating)
    above_s = None
    if chip is not None and liquidus_c is not None:
        above_s = seconds_above(series.seconds, series.channels_c[chip], liquidus_c)
    return WorkFigures(
        chip_channel=chip,
        chip_on_top=top is not None,
        liquidus_c=liquidus_c,
        above_liquidus_s=above_s,
        moves_to_away_s=[_between_s(series, pair) for pair in away],
        hot_air=air,
        hot_air_s=sum(_lasts_s(series, spell) for spell in air),
        held=held,
        held_s=sum(_lasts_s(series, spell) for spell in held),
        spread_c=largest_c,
        spread_at_s=None if largest_at is None else float(series.seconds[largest_at]),
        hold_spreads_c=_hold_spreads(series, plan, spread),
        touches=touches_by_source(series),
        marks=sum(deed.mark != 0 for deed in series.deeds),
    )


def seconds_above(seconds: np.ndarray, celsius: np.ndarray, level_c: float) -> float:
    """Return for how long the readings lay above `level_c`, on straight lines between them."""
    read = np.isfinite(celsius)
    times, readings = seconds[read], celsius[read]
    steps = np.diff(times)
    low = np.minimum(readings[:-1], readings[1:])
    high = np.maximum(readings[:-1], readings[1:])
    rise = high - low
    above = np.where(low > level_c, 1.0, 0.0)
    crossing = (low <= level_c) & (high > level_c)
    above[crossing] = (high[crossing] - level_c) / rise[crossing]
    return float((above * steps)[steps <= MOST_STEP_S].sum())


def spread_c(series: RunSeries, plan: Plan | None) -> np.ndarray:
    """Return in each record how uneven the board is: the hottest less the coldest sensor that
    tells of it; NaN where fewer than two read."""
    channels = [c for c in range(CHANNELS) if plan is not None and _tells_spread(plan, c)]
    if len(channels) < 2:
        return np.full(len(series), np.nan)
    readings = np.array([series.channels_c[channel] for channel in channels])
    read = np.isfinite(readings)
    low = np.where(read, readings, np.inf).min(axis=0)
    high = np.where(read, readings, -np.inf).max(axis=0)
    return np.where(read.sum(axis=0) >= 2, high - low, np.nan)


def _tells_spread(plan: Plan, channel: int) -> bool:
    in_jet = plan.header["in_jet_channels"] >> channel & 1
    return plan.header[f"role{channel}"] in SPREAD_ROLES and not in_jet


def _largest(values: np.ndarray, within: np.ndarray) -> tuple[float | None, int | None]:
    """Return the largest value inside `within`, and where it is; None for none."""
    inside = np.where(within, values, np.nan)
    if not np.isfinite(inside).any():
        return None, None
    at = int(np.nanargmax(inside))
    return float(inside[at]), at


def _hold_spreads(series: RunSeries, plan: Plan | None, spread: np.ndarray) -> dict[int, float]:
    found = {}
    inside = in_stages(series)
    for number, stage in enumerate(plan.stages if plan else []):
        if stage["kind"] == layout.HOLD:
            largest, _at = _largest(spread, inside & (series.stage == number))
            if largest is not None:
                found[number] = largest
    return found


def _between_s(series: RunSeries, spell: Spell) -> float:
    """Return the time from one mark to the other."""
    return float(series.seconds[spell.last] - series.seconds[spell.first])


def _lasts_s(series: RunSeries, spell: Spell) -> float:
    """Return how long a spell lasted, its last tick included."""
    return _between_s(series, spell) + float(series.lasts_s[spell.last])
