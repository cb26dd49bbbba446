"""The best that any controller could do on a heater: direct transcription, full knowledge.

`best_power` takes a heater as a function from power to reading, the wanted reading and the power
limit, and gives the power that follows it best (least squares). Power is constant over each step
and counted in parts of full; readings are in degC at the end of each step. The heater is linearised
about the course so far by short pulses, the quadratic program that follows is solved whole
(Clarabel), and both are repeated. It is a local optimum of a mildly nonlinear problem.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

# power[step, column] of several courses from the same first state -> reading_c[step, column]
Heater = Callable[[np.ndarray], np.ndarray]

FIRST_POWER = 0.3  # of what is allowed, where the search begins
LAUNCHES = 20  # pulses; the answers to those between two of them lie between theirs
PULSE = 0.05  # of full power
MOST_ROUNDS = 8
ENOUGH = 0.01  # relative gain of a round below which the search ends
SMOOTH_C = 0.5  # that a change of power by the whole is worth, so that only one optimum is left
OVER_PRICE = 5000.0  # of a degree beyond the allowed one, against one squared degree of error
HALVINGS = 4


@dataclass(frozen=True)
class Wanted:
    """What is asked for at the end of each step, in degC; `most_c` is not to be passed."""

    step_s: float
    reading_c: np.ndarray
    most_c: np.ndarray  # infinite where nothing forbids more

    @property
    def steps(self) -> int:
        return len(self.reading_c)


@dataclass(frozen=True)
class Optimum:
    """The best course found; `power` in parts of full."""

    wanted: Wanted
    power: np.ndarray
    reading_c: np.ndarray

    @property
    def error_c(self) -> np.ndarray:
        return self.reading_c - self.wanted.reading_c

    @property
    def rmse_c(self) -> float:
        return float(np.sqrt(np.mean(self.error_c**2)))

    @property
    def seconds(self) -> np.ndarray:
        """Return the end of each step."""
        return self.wanted.step_s * np.arange(1, self.wanted.steps + 1)


def best_power(
    heater: Heater,
    wanted: Wanted,
    most_power: float = 1.0,
    smooth_c: float = SMOOTH_C,
    first: np.ndarray | None = None,
    pulsed: Heater | None = None,
) -> Optimum:
    """Return the best course. `smooth_c`: what a change of power by the whole is worth; `first`:
    power to begin the search with; `pulsed`: a quicker heater to take the answers to pulses from,
    where that is like enough."""
    power = np.full(wanted.steps, FIRST_POWER * most_power) if first is None else first
    found = Optimum(wanted, power, _course(heater, power))
    for _round in range(MOST_ROUNDS):
        answers = answers_of(pulsed or heater, found.power, most_power)
        aimed = _solved(found, answers, most_power, smooth_c)
        better = _stepped(heater, found, aimed)
        gained = _cost(found) - _cost(better)
        found, enough = better, gained < ENOUGH * _cost(found)
        if enough:
            break
    return found


def _course(heater: Heater, power: np.ndarray) -> np.ndarray:
    return heater(power[:, None])[:, 0]


def _cost(course: Optimum) -> float:
    """Return the mean squared error, with what is beyond the allowed reading priced in."""
    over_c = np.maximum(course.reading_c - course.wanted.most_c, 0.0)
    return float(np.mean(course.error_c**2) + OVER_PRICE * over_c.max() / course.wanted.steps)


def _stepped(heater: Heater, found: Optimum, aimed: np.ndarray) -> Optimum:
    """Return the course of the aimed power, or of a part of the way where that is no better."""
    for halving in range(HALVINGS):
        power = found.power + 0.5**halving * (aimed - found.power)
        tried = Optimum(found.wanted, power, _course(heater, power))
        if _cost(tried) < _cost(found):
            return tried
    return found


def answers_of(heater: Heater, power: np.ndarray, most_power: float) -> np.ndarray:
    """Return d(reading after step i) / d(power of step j), in K per full power, as [i, j]."""
    steps = len(power)
    launches = np.unique(np.linspace(0, steps - 1, min(LAUNCHES, steps)).round().astype(int))
    signs = np.where(power[launches] > most_power / 2, -1.0, 1.0)
    courses = np.repeat(power[:, None], len(launches) + 1, axis=1)
    courses[launches, np.arange(len(launches))] += signs * PULSE
    reading_c = heater(courses)
    answers = (reading_c[:, :-1] - reading_c[:, -1:]) / (signs * PULSE)
    by_lag = np.zeros((len(launches), steps))  # answer by the time since the pulse
    for row, launch in enumerate(launches):
        lasting = answers[launch:, row]
        by_lag[row, : len(lasting)] = lasting
        by_lag[row, len(lasting) :] = lasting[-1]  # never used but between two launches
    return _between(by_lag, launches, steps)


def _between(by_lag: np.ndarray, launches: np.ndarray, steps: int) -> np.ndarray:
    """Return the answers of all steps, those between two launches mixed of theirs."""
    slopes = np.zeros((steps, steps))
    for step in range(steps):
        after = min(np.searchsorted(launches, step), len(launches) - 1)
        before = max(after - 1, 0) if launches[after] != step else after
        span = launches[after] - launches[before]
        share = (step - launches[before]) / span if span else 0.0
        mixed = (1 - share) * by_lag[before] + share * by_lag[after]
        slopes[step:, step] = mixed[: steps - step]
    return slopes


def _solved(found: Optimum, slopes: np.ndarray, most_power: float, smooth_c: float) -> np.ndarray:
    """Return the power that is best for the linearised heater."""
    import clarabel  # large libraries: only when something is planned
    from scipy import sparse

    wanted, steps = found.wanted, found.wanted.steps
    free_c = found.reading_c - slopes @ found.power - wanted.reading_c
    changes = np.diff(np.eye(steps), axis=0)
    quadratic = np.zeros((steps + 1, steps + 1))  # the last one: how far a limit is passed
    quadratic[:steps, :steps] = slopes.T @ slopes + smooth_c**2 * changes.T @ changes
    quadratic[steps, steps] = 1e-6
    linear = np.append(slopes.T @ free_c, OVER_PRICE / 2)
    held = np.flatnonzero(np.isfinite(wanted.most_c))
    limits_c = wanted.most_c[held] - wanted.reading_c[held] - free_c[held]
    rows = np.vstack(
        [
            np.eye(steps, steps + 1),
            -np.eye(steps + 1),
            np.column_stack([slopes[held], np.full(len(held), -1.0)]),
        ]
    )
    sides = np.concatenate([np.full(steps, most_power), np.zeros(steps + 1), limits_c])
    qp: Any = clarabel  # its own types are not declared
    settings = qp.DefaultSettings()
    settings.verbose = False
    solver = qp.DefaultSolver(
        sparse.triu(quadratic, format="csc"),
        linear,
        sparse.csc_matrix(rows),
        sides,
        [qp.NonnegativeConeT(len(sides))],
        settings,
    )
    return np.clip(np.array(solver.solve().x)[:steps], 0.0, most_power)
