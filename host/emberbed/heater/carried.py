"""What the data carry: an interval for every number, and the directions in which they say nothing.

Intervals are of 95 %, from the Jacobian at the fit with the residuals' correlation in the noise,
and with the weak prior knowledge that model_parameters.py states. The directions come from the
singular values of the Jacobian alone, taken over the physics in SI, prior knowledge left out: what
can only be told as a ratio shows there by itself. All of it holds as far as the structure does.
"""

from dataclasses import dataclass

import numpy as np

from emberbed.heater.candidates import Candidate
from emberbed.heater.heat_model import Heater, heater_of, simulate
from emberbed.heater.identify import Fit
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.heater.step_data import Grid

NORMAL_95 = 1.96
CARRIED = 0.5  # of its variance before the data: a number with less left comes from the data
NOTHING = 1e-6  # singular value over the largest: the direction leaves no trace at all
FACTOR_2 = np.log(2)  # spread on a logarithm beyond which a direction is hardly known
TAKES_PART = 0.3  # of the largest share in a direction
EDGE = 1e-3  # of the allowed width
_SHIFT = 1e-4
# by what a number that is no factor is counted: half a power, degrees that a person would notice
_NATURAL = {"drive_exponent": 0.5, "room_k": 5.0}
_FIRST_STATE_K = 5.0


@dataclass(frozen=True)
class Estimate:
    """One number of the heater with its 95 % interval."""

    name: str
    unit: str
    value: float
    low: float
    high: float
    from_data: bool  # else what heaters usually have, or the edge of what is allowed, holds it
    at_edge: bool
    says: str


@dataclass(frozen=True)
class Direction:
    """Numbers that the data do not tell apart; `shares` by name, with sign, largest first.

    `factor`: how well their combination is known; infinite: it leaves no trace in the data.
    """

    shares: dict[str, float]
    factor: float

    @property
    def only_ratios(self) -> bool:
        return np.isinf(self.factor)


def covariance(fit: Fit) -> np.ndarray:
    """Return the covariance of the numbers on the fit's scale, prior knowledge included."""
    slopes = _slopes(fit.candidate, fit.at, fit.grid) / fit.noise.effective_c
    known = slopes.T @ slopes + np.diag(1 / fit.candidate.prior_variance)
    return np.linalg.inv(known)


def estimates(fit: Fit) -> list[Estimate]:
    """Return every number of the heater and of its first state."""
    candidate = fit.candidate
    variance = np.diag(covariance(fit))
    prior = candidate.prior_variance
    reach = NORMAL_95 * np.sqrt(variance)
    lows, values, highs = (
        candidate.values(np.clip(fit.at + by, candidate.least, candidate.most))
        for by in (-reach, np.zeros_like(reach), reach)
    )
    edge = EDGE * (candidate.most - candidate.least)
    inside = (fit.at > candidate.least + edge) & (fit.at < candidate.most - edge)
    return [
        Estimate(
            one.name,
            one.unit,
            float(values[one.name]),
            float(lows[one.name]),
            float(highs[one.name]),
            bool(inside[n] and variance[n] < CARRIED * prior[n]),
            not inside[n],
            one.says,
        )
        for n, one in enumerate(candidate.parameters)
    ]


def untold(fit: Fit, full_power_w: float | None) -> list[Direction]:
    """Return the directions that the data do not carry, the emptiest first.

    Without `full_power_w` the power is one more number that the data would have to tell.
    """
    names, slopes = _physical_slopes(fit, full_power_w)
    _left, singular, right = np.linalg.svd(slopes / fit.noise.effective_c, full_matrices=False)
    found = []
    for size, shares in zip(singular[::-1], right[::-1], strict=True):
        if size * FACTOR_2 > 1:
            continue
        factor = np.inf if size < NOTHING * singular[0] else float(np.exp(min(1 / size, 50.0)))
        found.append(Direction(_large_shares(names, shares), factor))
    return found


def _slopes(candidate: Candidate, at: np.ndarray, grid: Grid) -> np.ndarray:
    """Return central differences of the simulation, a column per number."""
    shifts = _SHIFT * np.eye(len(at))
    simulated = candidate.simulated(at[:, None] + np.hstack([shifts, -shifts]), grid)
    return (simulated[:, : len(at)] - simulated[:, len(at) :]) / (2 * _SHIFT)


def _physical_slopes(fit: Fit, full_power_w: float | None) -> tuple[list[str], np.ndarray]:
    """Return names and slopes of the simulation over the heater's physics and its first state."""
    candidate, grid = fit.candidate, fit.grid
    values = candidate.values(fit.at)
    heater = heater_of({"drive_exponent": 1.0, **values}, full_power_w or 1.0)
    names = _physical_names(candidate, full_power_w)
    first = [one.name for one in candidate.parameters if one.name.startswith("first_")]
    columns = len(names) + len(first)
    slopes = []
    for sign in (1.0, -1.0):
        moved = {name: np.full(columns, float(getattr(heater, name))) for name in Heater._fields}
        state = {name: np.full(columns, float(values[name])) for name in first}
        for n, name in enumerate(names):
            natural = _NATURAL.get(name)
            moved[name][n] += sign * _SHIFT * (moved[name][n] if natural is None else natural)
        for n, name in enumerate(first, len(names)):
            state[name][n] += sign * _SHIFT * _FIRST_STATE_K
        variants = Heater(**moved)
        warmth = candidate.first_warmth(variants, {"room_c": variants.room_k - ZERO_C_K, **state})
        heat = grid.heat(np.asarray(variants.drive_exponent))
        slopes.append(simulate(variants, warmth, heat, grid.step_s, candidate.longest_step_s))
    return [*names, *first], (slopes[0] - slopes[1]) / (2 * _SHIFT)


def _physical_names(candidate: Candidate, full_power_w: float | None) -> list[str]:
    dropped = set()
    if full_power_w is not None:
        dropped.add("full_power_w")
    if "drive_exponent" not in candidate.names:
        dropped.add("drive_exponent")
    return [name for name in Heater._fields if name not in dropped]


def _large_shares(names: list[str], shares: np.ndarray) -> dict[str, float]:
    largest = np.abs(shares).max()
    order = np.argsort(-np.abs(shares))
    return {
        names[n]: float(shares[n] / largest) for n in order if abs(shares[n]) > TAKES_PART * largest
    }
