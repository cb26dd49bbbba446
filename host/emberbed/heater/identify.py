"""From measured rows to the numbers of a heater: try every first state from many starts, keep one.

First state and numbers are chosen on the fitted rows only; the rest is simulated freely from
the first row on and merely scored. Residuals of a real heater hang together (draughts, lumps that
are none), so rows are no independent witnesses: the noise that weighs them against usual values is
the residuals' own, made larger by their correlation.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import ndtri

from emberbed.heater.batch_fit import OnePoint, search
from emberbed.heater.candidates import FREE, Candidate, candidates
from emberbed.heater.step_data import LINEAR_KINDS, Grid, Measured, grid_step_s, to_grid

MOST_SEARCH_STEPS = 400  # of the fitted part; a longer file is taken in coarser steps
MOST_STEPS = 1500  # the same for the last digits
STARTS = 32
ROUNDS = 120
MOST_LAST_ROUNDS = 15
FIRST_NOISE_C = 0.5  # before any residual is known
LEAST_NOISE_C = 0.05  # no thermocouple is quieter
LEAST_INDEPENDENT = 14.0  # rows; with fewer than there are numbers, nothing could be fitted at all
Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Noise:
    """Residuals on the grid: rms, and correlation from one step to the next."""

    rms_c: float
    correlation: float
    rows: int

    @property
    def inflation(self) -> float:
        """Return how many rows say as much as one independent one."""
        together = (1 + self.correlation) / (1 - self.correlation)
        return max(min(together, self.rows / LEAST_INDEPENDENT), 1.0)

    @property
    def effective_c(self) -> float:
        """Return the noise of a row as if rows were independent."""
        return max(self.rms_c, LEAST_NOISE_C) * self.inflation**0.5

    @property
    def independent_rows(self) -> float:
        return self.rows / self.inflation


@dataclass(frozen=True)
class Fit:
    """A first state with the numbers that repeat some rows best."""

    candidate: Candidate
    at: np.ndarray  # on the fit's scale
    grid: Grid  # of those rows
    noise: Noise

    @property
    def largest_c(self) -> float:
        """Return the largest residual."""
        return float(abs(self.candidate.residuals(self.at[:, None], self.grid)).max())


@dataclass(frozen=True)
class Fitted:
    """The chosen structure with its numbers, and what was compared with what."""

    measured: Measured
    fitted_rows: int
    full_drive: float
    scored: Fit  # of the rows to be fitted
    whole: Fit  # of all rows without a fan: the heater's numbers
    whole_rows: int
    predicted_c: np.ndarray  # by `scored`, at every row, free from the first one on
    scores: dict[str, float]  # of every first state tried; less is better

    @property
    def percent_fitted(self) -> float:
        rows = slice(0, self.fitted_rows)
        return fit_percent(self.measured.temperature_c[rows], self.predicted_c[rows])

    @property
    def percent_unseen(self) -> float | None:
        """Return the score of the rows after the fitted ones; None: there are too few."""
        unseen = self.measured.temperature_c[self.fitted_rows :]
        if len(unseen) < 2 or np.ptp(unseen) == 0:
            return None
        return fit_percent(unseen, self.predicted_c[self.fitted_rows :])


def fit_percent(measured: np.ndarray, predicted: np.ndarray) -> float:
    """Return 100 (1 - |y - yh| / |y - mean y|): 100 is perfect, 0 as good as the mean."""
    off = np.linalg.norm(measured - predicted)
    return float(100 * (1 - off / np.linalg.norm(measured - measured.mean())))


def identify(
    measured: Measured,
    fit_until_s: float | None,
    full_drive: float,
    room_c: float | None = None,
    tell: Tell = lambda _what, _part: None,
) -> Fitted:
    """Fit and score the rows before `fit_until_s`, then all; `full_drive`: drive at full power."""
    seen = measured.until(fit_until_s)
    coarse = to_grid(seen, full_drive, grid_step_s(seen, MOST_SEARCH_STEPS))
    grid = to_grid(seen, full_drive, grid_step_s(seen, MOST_STEPS))
    possible = candidates(float(seen.temperature_c[0]), measured.kind in LINEAR_KINDS, room_c)
    found = _search_all(possible, coarse, tell)
    chosen, at, _score = min(found, key=lambda one: one[2])
    tell("the last digits", 1.0)
    chosen = chosen.finely()
    scored = _fit(chosen, grid, noise_of(chosen, at, grid), at)
    still = measured.without_fan()
    return Fitted(
        measured,
        len(seen.seconds),
        full_drive,
        scored,
        scored if len(still.seconds) == len(seen.seconds) else _refit(scored, still, full_drive),
        len(still.seconds),
        _predicted(scored, measured, full_drive),
        {one.start: score for one, _at, score in found},
    )


def _refit(scored: Fit, rows: Measured, full_drive: float) -> Fit:
    """Return the fit of more rows, from where a part of them has led."""
    grid = to_grid(rows, full_drive, grid_step_s(rows, MOST_STEPS))
    near = _fit(scored.candidate, grid, scored.noise, scored.at)
    return _fit(scored.candidate, grid, near.noise, near.at)


def _search_all(
    possible: list[Candidate], grid: Grid, tell: Tell
) -> list[tuple[Candidate, np.ndarray, float]]:
    """Return each candidate with its best numbers and its score; less is better."""
    parts = 1 + len(possible)

    def telling(number: int, what: str) -> Callable[[float], None]:
        return lambda part: tell(what, (number + part) / parts)

    richest = next(one for one in possible if one.start == FREE)
    at, _cost = _searched(richest, grid, FIRST_NOISE_C, telling(0, "a first look"))
    noise_c = noise_of(richest, at, grid).effective_c
    found = []
    for number, one in enumerate(possible, 1):
        at, cost = _searched(one, grid, noise_c, telling(number, f"heater {one.start} at first"))
        found.append((one, at, cost + _price(one, grid, noise_c, at)))
    return found


def _price(candidate: Candidate, grid: Grid, noise_c: float, at: np.ndarray) -> float:
    """Return what a candidate pays for its freedom: how far the data narrowed its numbers.

    Laplace's approximation of the evidence: a number that the data do not touch costs nothing.
    """
    point = OnePoint(weighed(candidate, grid, noise_c), candidate.least, candidate.most)
    slopes = point.slopes(at)
    known = slopes.T @ slopes * candidate.prior_variance
    return float(np.linalg.slogdet(known + 1e-9 * np.eye(len(at)))[1])


def weighed(candidate: Candidate, grid: Grid, noise_c: float) -> Callable[[np.ndarray], np.ndarray]:
    """Return residuals in units of their noise, with the distance from usual values below them."""
    usual, spread = candidate.usual[:, None], candidate.spread[:, None]

    def residuals(fit: np.ndarray) -> np.ndarray:
        return np.vstack([candidate.residuals(fit, grid) / noise_c, (fit - usual) / spread])

    return residuals


def noise_of(candidate: Candidate, at: np.ndarray, grid: Grid) -> Noise:
    """Return what the residuals at a point look like."""
    off = candidate.residuals(at[:, None], grid)[:, 0]
    square = float((off**2).sum())
    together = float((off[1:] * off[:-1]).sum()) / square if square > 0 else 0.0
    return Noise((square / len(off)) ** 0.5, min(max(together, 0.0), 0.999), len(off))


def _searched(
    candidate: Candidate, grid: Grid, noise_c: float, tell: Callable[[float], None]
) -> tuple[np.ndarray, float]:
    points, costs = search(
        weighed(candidate, grid, noise_c),
        _starts(candidate),
        candidate.least,
        candidate.most,
        ROUNDS,
        tell,
    )
    return points[0], float(costs[0])


def _starts(candidate: Candidate) -> np.ndarray:
    """Return evenly scattered starts: as usual values lie where they are known, else in the box."""
    least, most, spread = candidate.least, candidate.most, candidate.spread
    even = _evenly(STARTS, len(least))
    known = np.isfinite(spread)
    scattered = candidate.usual + ndtri(0.01 + 0.98 * even) * np.where(known, spread, 0.0)
    return np.clip(np.where(known, scattered, least + even * (most - least)), least, most)


def _evenly(points: int, numbers: int) -> np.ndarray:
    """Return points that fill the unit cube evenly: multiples of powers of a golden ratio.

    The ratio solves x^(numbers + 1) = x + 1, which in one dimension is the golden ratio itself.
    """
    ratio = 2.0
    for _ in range(60):
        ratio = (1 + ratio) ** (1 / (numbers + 1))
    return (0.5 + np.outer(np.arange(points), ratio ** -np.arange(1.0, numbers + 1))) % 1


def _fit(candidate: Candidate, grid: Grid, noise: Noise, at: np.ndarray) -> Fit:
    """Return the best numbers near `at`, weighed by a noise that is roughly known."""
    least, most = candidate.least, candidate.most
    point = OnePoint(weighed(candidate, grid, noise.effective_c), least, most)
    inside = np.clip(at, least + 1e-6 * (most - least), most - 1e-6 * (most - least))
    solved = least_squares(
        point.values,
        inside,
        point.slopes,  # type: ignore[arg-type]
        bounds=(least, most),
        x_scale="jac",
        ftol=1e-6,
        xtol=1e-6,
        max_nfev=MOST_LAST_ROUNDS,
    )
    return Fit(candidate, solved.x, grid, noise_of(candidate, solved.x, grid))


def _predicted(fit: Fit, measured: Measured, full_drive: float) -> np.ndarray:
    """Return the free simulation at the time of every row."""
    grid = to_grid(measured, full_drive, fit.grid.step_s)
    simulated = fit.candidate.simulated(fit.at[:, None], grid)[:, 0]
    return np.interp(measured.seconds, grid.seconds, simulated)
