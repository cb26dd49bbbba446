"""Least squares from many starts at once: damped Gauss-Newton steps inside a box.

Every start and every finite difference of its Jacobian is one column of the same simulation, so
the search costs little more than one start. Plain arrays in and out; knows nothing of heaters.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Residuals = Callable[[np.ndarray], np.ndarray]  # (numbers, columns) -> (rows, columns)
DIFFERENCE = 1e-5  # of the box's width
ENOUGH = 1e-4  # relative gain over PATIENCE rounds below which a search has ended
PATIENCE = 8
HALVES_AT = (20, 40)  # rounds after which the worse half of the starts is given up


@dataclass
class _Points:
    at: np.ndarray  # (starts, numbers)
    residuals: np.ndarray  # (starts, rows)
    jacobian: np.ndarray  # (starts, rows, numbers)
    cost: np.ndarray
    damping: np.ndarray

    def kept(self, chosen: np.ndarray) -> "_Points":
        return _Points(*(field[chosen] for field in vars(self).values()))


def search(
    residuals: Residuals,
    starts: np.ndarray,
    least: np.ndarray,
    most: np.ndarray,
    rounds: int,
    tell: Callable[[float], None] = lambda _part: None,
) -> tuple[np.ndarray, np.ndarray]:
    """Return (points, costs), best first; cost = sum of squares. `tell` hears the part done."""
    points = _looked_at(residuals, starts, least, most, np.full(len(starts), 0.1))
    best = [float(points.cost.min())]
    for number in range(rounds):
        tell(number / rounds)
        points = _step(residuals, points, least, most)
        if number in HALVES_AT:
            points = points.kept(np.argsort(points.cost)[: (len(points.cost) + 1) // 2])
        best.append(float(points.cost.min()))
        if number > PATIENCE + HALVES_AT[-1] and best[-PATIENCE] - best[-1] < ENOUGH * best[-1]:
            break
    tell(1.0)
    order = np.argsort(points.cost)
    return points.at[order], points.cost[order]


class OnePoint:
    """Residuals and their derivatives at one point, found together: one simulation for both."""

    def __init__(self, residuals: Residuals, least: np.ndarray, most: np.ndarray) -> None:
        self._residuals, self._least, self._most = residuals, least, most
        self._at: np.ndarray | None = None

    def values(self, at: np.ndarray) -> np.ndarray:
        """Return the residuals."""
        self._look(at)
        return self._values

    def slopes(self, at: np.ndarray) -> np.ndarray:
        """Return the derivatives (rows, numbers), taken inside the box."""
        self._look(at)
        return self._slopes

    def _look(self, at: np.ndarray) -> None:
        if self._at is not None and np.array_equal(at, self._at):
            return
        values, slopes = _with_differences(self._residuals, at[None, :], self._least, self._most)
        self._at, self._values, self._slopes = at.copy(), values[0], slopes[0]


def _looked_at(
    residuals: Residuals, at: np.ndarray, least: np.ndarray, most: np.ndarray, damping: np.ndarray
) -> _Points:
    values, slopes = _with_differences(residuals, at, least, most)
    return _Points(at, values, slopes, (values**2).sum(axis=1), damping)


def _with_differences(
    residuals: Residuals, at: np.ndarray, least: np.ndarray, most: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    starts, numbers = at.shape
    width = DIFFERENCE * (most - least)
    signed = np.where(at + width > most, -width, width)
    columns = np.repeat(at[:, None, :], numbers + 1, axis=1)
    columns[:, np.arange(1, numbers + 1), np.arange(numbers)] += signed
    values = residuals(columns.reshape(-1, numbers).T)
    values = values.reshape(len(values), starts, numbers + 1).transpose(1, 0, 2)
    return values[:, :, 0], (values[:, :, 1:] - values[:, :, :1]) / signed[:, None, :]


def _step(residuals: Residuals, points: _Points, least: np.ndarray, most: np.ndarray) -> _Points:
    moved = np.clip(points.at + _move(points, least, most), least, most)
    tried = _looked_at(residuals, moved, least, most, points.damping)
    better = tried.cost < points.cost

    def pick(new: np.ndarray, old: np.ndarray) -> np.ndarray:
        return np.where(better.reshape(-1, *[1] * (new.ndim - 1)), new, old)

    return _Points(
        pick(tried.at, points.at),
        pick(tried.residuals, points.residuals),
        pick(tried.jacobian, points.jacobian),
        pick(tried.cost, points.cost),
        np.clip(points.damping * np.where(better, 0.3, 4.0), 1e-9, 1e8),
    )


def _move(points: _Points, least: np.ndarray, most: np.ndarray) -> np.ndarray:
    """Return the damped step of each start; a number that its bound holds stands still."""
    slope = np.einsum("srn,sr->sn", points.jacobian, points.residuals)
    normal = np.einsum("srn,srm->snm", points.jacobian, points.jacobian)
    held = ((points.at <= least) & (slope > 0)) | ((points.at >= most) & (slope < 0))
    free = ~held
    normal = normal * (free[:, :, None] & free[:, None, :])
    own = np.einsum("snn->sn", normal)
    damped = own + points.damping[:, None] * (own + 1e-9 * own.max(axis=1, keepdims=True) + 1e-12)
    number = np.arange(normal.shape[1])
    normal[:, number, number] = np.where(held, 1.0, damped)
    return -np.linalg.solve(normal, (slope * free)[:, :, None])[:, :, 0]
