"""Gains under trial in the firmware itself: on heaters as likely as the identified one.

`made_trial` draws the heaters, each with its mains voltage, and finds a job that all of them can
follow: a ramp from cold and a hold, at two levels. Where the file has earned planned runs, the job
is planned for the identified heater, and the others have lighter and heavier boards too: the gains
are then those of the trim that mends the plan. `figures` takes gains through one run (see
rehearse_gains) and judges it. Same heater file, count and seed: same figures.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed.heater.device_gains import TICK_S
from emberbed.heater.heat_model import Heater, HeatModel, at_rest, heater_of
from emberbed.heater.heater_file import HeaterFile
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.heater.ramp_trial import FASTEST_C_PER_S

LEVELS_C = (90.0, 130.0)
HOLD_S = 90.0
MAINS = (0.9, 1.1)  # +-10 % of the nominal voltage, EN 50160
MASSES = (1.25, 0.8)  # of the board that was measured; our choice
OF_WHAT_THE_WEAKEST_CAN = 0.8
SLOWEST_C_PER_S = 0.02  # below it a trial takes hours
MOST_TIMES = 2.0  # the planned time; a job that takes longer has failed


class CannotTry(Exception):
    """Why no trial is possible on a heater: one sentence."""


class Situation(NamedTuple):
    """One heater and its mains voltage in parts of nominal."""

    values: dict[str, float]
    mains: float


class Job(NamedTuple):
    """From cold to each level in turn, each with its ramp and a hold."""

    room_c: float
    levels_c: tuple[float, ...]
    rates_c_per_s: tuple[float, ...]
    hold_s: float = HOLD_S

    @property
    def planned_s(self) -> float:
        ways_c = [high - low for low, high in pairwise((self.room_c, *self.levels_c))]
        ramps_s = [way / rate for way, rate in zip(ways_c, self.rates_c_per_s, strict=True)]
        return sum(ramps_s) + self.hold_s * len(self.levels_c)


class FirmwareTrial(NamedTuple):
    """What gains are judged on; the first situation is the identified heater itself."""

    situations: tuple[Situation, ...]
    job: Job
    planned: bool = False  # for the first one, with all of its power


@dataclass(frozen=True)
class Course:
    """One run, tick by tick from the first stage on: degC, parts of full power, HOLD or not."""

    setpoint_c: np.ndarray
    level_c: np.ndarray  # what the running stage aims at
    board_c: np.ndarray  # the sensor's bead, without noise and converter steps
    power: np.ndarray
    holds: np.ndarray
    finished: bool


class Figures(NamedTuple):
    """Of one run, or the worst of several; errors are means of absolute ones over the stages."""

    ramp_c: float
    hold_c: float
    overshoot_c: float
    cost_c: float  # infinite for a run that does not end by itself in time


def made_trial(heater: HeaterFile, count: int, seed: int) -> FirmwareTrial:
    """Return the identified heater at nominal mains and `count` others, low and high in turn."""
    drawn, planned = heater.drawn(count, seed), heater.fit.earned
    situations = (
        Situation(heater.values, 1.0),
        *(
            Situation(_with_board(values, n) if planned else values, MAINS[n % len(MAINS)])
            for n, values in enumerate(drawn)
        ),
    )
    seen_c = [level_c for level_c in LEVELS_C if level_c <= heater.fit.highest_c]
    levels_c = seen_c or [(heater.fit.lowest_c + heater.fit.highest_c) / 2]
    job = _job(situations, levels_c, 1.0 if planned else POWER_CAP)
    return FirmwareTrial(situations, job, planned)


def figures(
    trial: FirmwareTrial, gains: Gains, situation: int, most_cost_c: float = np.inf
) -> Figures:
    """Return the figures of one run of the set; one that costs more than this is given up."""
    from emberbed.heater.rehearse_gains import run_job  # the simulation: only for a trial

    made_for = trial.situations[0].values if trial.planned else None
    course = run_job(trial.situations[situation], trial.job, gains, most_cost_c, made_for)
    return judged(course, trial.job)


def judged(course: Course, job: Job) -> Figures:
    """Judge a run; its error is summed over all its time, so that dawdling costs too."""
    error_c = np.abs(course.setpoint_c - course.board_c)
    overshoot_c = float((course.board_c - course.level_c).max(initial=0.0))
    return Figures(
        _mean(error_c[~course.holds]),
        _mean(error_c[course.holds]),
        overshoot_c,
        run_cost_c(float(error_c.sum()), overshoot_c, job) if course.finished else np.inf,
    )


def run_cost_c(error_c: float, overshoot_c: float, job: Job) -> float:
    """Return the cost of a run whose ticks' absolute errors add up to this."""
    return error_c * TICK_S / job.planned_s + overshoot_c


def worst(found: Sequence[Figures]) -> Figures:
    """Return the worst of each figure."""
    return Figures(*(max(column) for column in zip(*found, strict=True)))


def _with_board(values: dict[str, float], number: int) -> dict[str, float]:
    """Return a heater with a lighter or a heavier board; each comes at low and at high mains."""
    mass = MASSES[number // len(MAINS) % len(MASSES)]
    heavier = ("board_capacity_s_per_k", "board_lag_s")
    return {name: mass * one if name in heavier else one for name, one in values.items()}


def _job(situations: Sequence[Situation], levels_c: Sequence[float], cap: float) -> Job:
    """Return the job that the weakest situation follows with power to spare."""
    names = situations[0].values
    columns = {name: np.array([one.values[name] for one in situations]) for name in names}
    heat = cap * np.array([one.mains for one in situations]) ** 2
    room_c = float(columns["room_c"].max())
    at_s = _slowest_s(heater_of(columns), heat, levels_c)
    possible = list(zip(levels_c, at_s, strict=False))
    begun, rates = (room_c, 0.0), []
    for level_c, reached_s in possible:
        can = (level_c - begun[0]) / max(reached_s - begun[1], TICK_S)
        rates.append(round(min(FASTEST_C_PER_S, OF_WHAT_THE_WEAKEST_CAN * can), 3))
        begun = level_c, reached_s
    kept = [(level_c, rate) for level_c, rate in zip(levels_c, rates, strict=False)
            if rate >= SLOWEST_C_PER_S]  # fmt: skip
    if not kept or kept[0][0] != levels_c[0]:
        raise CannotTry(
            "some heater that is as likely as this one hardly reaches"
            f" {levels_c[0]:.0f} °C with {cap:.0%} of its power at low mains"
        )
    return Job(room_c, tuple(one[0] for one in kept), tuple(one[1] for one in kept))


def _slowest_s(heater: Heater, heat: np.ndarray, levels_c: Sequence[float]) -> list[float]:
    """Return when the last of several heaters is at each level with this heat from cold on."""
    step_s = 10 * TICK_S
    model = HeatModel(heater, at_rest(heater), step_s)
    reached_s: list[float] = []
    for step in range(1, round(max(levels_c) / SLOWEST_C_PER_S / step_s) + 1):
        model.step(heat)
        coldest_c = float(np.min(model.warmth.board_k)) - ZERO_C_K
        while len(reached_s) < len(levels_c) and coldest_c > levels_c[len(reached_s)]:
            reached_s.append(step * step_s)
        if len(reached_s) == len(levels_c):
            break
    return reached_s


def _mean(values: np.ndarray) -> float:
    return float(values.mean()) if values.size else 0.0
