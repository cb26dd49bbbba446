"""How well any controller could have followed the profile on the rehearsed heater.

`limit_of` takes a rehearsal and the bench it ran on, and finds the best course of the heating by
full knowledge (emberbed.limit): same board, room, sensor and power limit, waits as long as they
were, hot air left out. Takes the lumped bench, the usual one or an identified heater's.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from emberbed.limit.optimum import Heater, Optimum, best_power
from emberbed.limit.timeline import Timeline, timeline
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.model import HotAir
from emberbed.profiles.timing import Span, spans
from emberbed.rehearse import Rehearsal
from emberbed.rehearse_bench import Bench
from emberbed.report import display
from emberbed.report.chart_model import Shade
from emberbed_fw import run_states as rs
from emberbed_fw.units import FULL_POWER_Q15, NONE, TICKS_PER_S
from emberbed_sim.plant.nozzle import STILL
from emberbed_sim.plant.parameters import TICK_S, SensorPlacement
from emberbed_sim.plant.thermocouple import Thermocouple

OVERSHOOT_C = 1.0  # that the best course may have on a plateau
FULL = 0.99  # of the power allowed


@dataclass(frozen=True)
class Limit:
    """The best course, and when in the rehearsal it begins; `run_c` at the end of its steps."""

    best: Optimum
    line: Timeline
    begins_s: float
    run_c: np.ndarray
    most_power: float

    @property
    def run_rmse_c(self) -> float:
        off_c = self.run_c - self.best.wanted.reading_c
        return float(np.sqrt(np.nanmean(off_c**2)))


def limit_of(done: Rehearsal, bench: Bench, control: int) -> Limit | None:
    """Return the limit of a rehearsal's heating; None where nothing was heated or timed."""
    profile = done.prepared.profile_file.model
    records = [record for record in done.records if record.state in rs.STAGED_STATES]
    if not records or profile.identifies():
        return None
    start_c = (records[0].channel_cdeg(control) or 0) / 100
    line = timeline(_until_air(spans(profile), _stage_s(records)), start_c)
    if not line.spans:
        return None
    most_power = decode_plan(done.prepared.plan).header["cap0_q15"] / FULL_POWER_Q15
    heater = _heater(bench, bench.parameters.sensors[control], line.step_s)
    best = best_power(heater, line.wanted(OVERSHOOT_C), most_power)
    first = (records[0].tick - done.records[0].tick) / TICKS_PER_S
    cdeg = (record.channel_cdeg(control) for record in done.records)
    read_c = np.array([np.nan if one is None else one / 100 for one in cdeg])
    at = np.round((first + best.seconds) * TICKS_PER_S).astype(int)
    inside = np.minimum(at, len(read_c) - 1)
    run_c = np.where(at < len(read_c), read_c[inside], np.nan)
    return Limit(best, line, first, run_c, most_power)


def as_lines(limit: Limit) -> list[str]:
    """Return it for a person."""
    best = limit.best
    full = float(np.mean(best.power > FULL * limit.most_power))
    return [
        f"the best that this heater can do: {display.celsius(best.rmse_c)} off the profile on"
        f" average (rms), {display.celsius(float(-best.error_c.min()))} behind at worst, at the"
        f" most power allowed for {full:.0%} of the heating; this run:"
        f" {display.celsius(limit.run_rmse_c)} (rms)"
    ]


def as_json(limit: Limit) -> dict[str, object]:
    """Return it for scripts."""
    return {
        "rmse_c": limit.best.rmse_c,
        "largest_lag_c": float(-limit.best.error_c.min()),
        "run_rmse_c": limit.run_rmse_c,
        "begins_s": limit.begins_s,
        "seconds": limit.best.seconds.tolist(),
        "wanted_c": limit.best.wanted.reading_c.tolist(),
        "reading_c": limit.best.reading_c.tolist(),
        "power_percent": (100 * limit.best.power).tolist(),
    }


def shade(limit: Limit, curve: str) -> Shade:
    """Return what lies between the run and the best course."""
    best_c = limit.best.reading_c
    return Shade(
        curve,
        limit.begins_s + limit.best.seconds,
        np.fmin(limit.run_c, best_c),
        np.fmax(limit.run_c, best_c),
        "between this run and the best course that this heater can go",
    )


def _stage_s(records: Sequence) -> dict[int, float]:
    """Return how long each stage took."""
    ticks: dict[int, int] = {}
    for record in records:
        if record.stage != NONE:
            ticks[record.stage] = ticks.get(record.stage, 0) + 1
    return {stage: count / TICKS_PER_S for stage, count in ticks.items()}


def _until_air(planned: Sequence[Span], took_s: dict[int, float]) -> list[Span]:
    """Return the stages before any hot air, waits as long as they were."""
    kept = []
    for span in planned:
        if isinstance(span.stage, HotAir) or span.index not in took_s:
            break
        waited = round(took_s[span.index] * TICKS_PER_S)
        kept.append(span if span.planned_ticks else replace(span, planned_ticks=waited))
    return kept


def _heater(bench: Bench, placed: SensorPlacement, step_s: float) -> Heater:
    """Return the bench as the optimum asks for one: each course on a bench of its own."""
    ticks = round(step_s / TICK_S)
    room_c = bench.parameters.surroundings.room_c

    def course(power: np.ndarray) -> list[float]:
        heat, bead, read_c = bench.heat(), Thermocouple(placed, room_c), []
        full_w = heat.zone_full_w[0] * bench.parameters.mains.power_factor
        for part in power.tolist():
            for _tick in range(ticks):
                heat.step((part * full_w,), 0.0, STILL, 0.0)
                bead.step(*heat.felt(placed))
            read_c.append(bead.bead_c)
        return read_c

    return lambda power: np.array([course(column) for column in power.T]).T
