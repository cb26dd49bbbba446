"""A smooth surface through the surveyed positions, and what it says of the emitters and the chip.

The surface is a full quadratic about the middle of the measured rectangle. An even heater that lies
centred under an even board gives a map that is its own mirror image left to right and front to
back; what is left when the four mirror images' mean is taken away is uneven: weak, dirty or crooked
emitters (or the board's own copper: that part turns with the board).
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from emberbed.survey.positions import Survey

EVEN_C = 2.5  # tolerance of a plain type K couple, class 2 (IEC 60584-1)
# A position whose residual is larger, each in units of its own freedom, was not touched well: with
# nine positions 5 °C in the middle and 7 °C at a corner; our choice.
ROUGH_C = 3.0
WHOLE_SIDE = 0.75  # of its worst corner: so weak in the middle a side is weak as a whole
_LEAST_FREE = 1e-3  # of a position that the surface must pass through
_WINDOW_SAMPLES = 7  # per side of a neighbourhood
_STEP_MM = 1.0


class Place(NamedTuple):
    """A spot and what is there."""

    x_mm: float
    y_mm: float
    celsius: float


class ChipPlace(NamedTuple):
    """Where a chip is heated most evenly."""

    x_mm: float
    y_mm: float
    side_mm: float
    spread_c: float
    mean_c: float


@dataclass(frozen=True)
class Surface:
    """T = a + b u + c v + d u2 + e uv + f v2, u and v from the middle in half widths."""

    survey: Survey
    numbers: np.ndarray

    def at(self, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
        """Return the surface in °C."""
        return _terms(*self._scaled(x_mm, y_mm)) @ self.numbers

    def uneven_at(self, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
        """Return how much hotter a spot is than the mean of its four mirror images."""
        _a, b, c, _d, e, _f = self.numbers
        u, v = self._scaled(x_mm, y_mm)
        return b * u + c * v + e * u * v

    def left_over_c(self) -> np.ndarray:
        """Return what of the positions' temperatures the surface leaves over."""
        return self.survey.board_c - self.at(self.survey.x_mm, self.survey.y_mm)

    def rough(self) -> Place | None:
        """Return the worst position, if any, with how far it is off what the others say of it."""
        survey = self.survey
        terms = _terms(*self._scaled(survey.x_mm, survey.y_mm))
        free = 1 - np.einsum("ij,ji->i", terms, np.linalg.pinv(terms))
        free = np.maximum(free, _LEAST_FREE)
        left_c = self.left_over_c()
        worst = int((np.abs(left_c) / np.sqrt(free)).argmax())
        if abs(left_c[worst]) < ROUGH_C * np.sqrt(free[worst]):
            return None
        off_c = float(left_c[worst] / free[worst])
        return Place(float(survey.x_mm[worst]), float(survey.y_mm[worst]), off_c)

    def weakest(self) -> Place | None:
        """Return the corner or side that gets too little, with its °C; None where all is even."""
        x_low, x_high, y_low, y_high = self.survey.extent_mm
        x_mid, y_mid = self.survey.middle_mm
        corners = [self._uneven(x, y) for x in (x_low, x_high) for y in (y_low, y_high)]
        corner = min(corners, key=_celsius)
        if corner.celsius > -EVEN_C:
            return None
        # what is uneven is straight along a side, so that one of its ends is always the worst
        sides = self._uneven(corner.x_mm, y_mid), self._uneven(x_mid, corner.y_mm)
        side = min(sides, key=_celsius)
        return side if side.celsius <= WHOLE_SIDE * corner.celsius else corner

    def _uneven(self, x_mm: float, y_mm: float) -> Place:
        return Place(x_mm, y_mm, float(self.uneven_at(np.array(x_mm), np.array(y_mm))))

    def chip_place(self, side_mm: float) -> ChipPlace:
        """Return the most even neighbourhood of this size inside the measured rectangle."""
        x_low, x_high, y_low, y_high = self.survey.extent_mm
        half = side_mm / 2
        x, y = (
            one.ravel()
            for one in np.meshgrid(_between(x_low + half, x_high - half),
                                   _between(y_low + half, y_high - half))
        )  # fmt: skip
        steps = np.linspace(-half, half, _WINDOW_SAMPLES)
        over_x, over_y = (one.ravel() for one in np.meshgrid(steps, steps))
        celsius = self.at(x[:, None] + over_x, y[:, None] + over_y)
        spread_c = np.ptp(celsius, axis=1)
        x_mid, y_mid = self.survey.middle_mm
        away = np.hypot(x - x_mid, y - y_mid)
        best = int(np.lexsort((away, spread_c.round(2)))[0])  # of equals the nearest to the middle
        return ChipPlace(
            float(x[best]), float(y[best]), side_mm, float(spread_c[best]),
            float(celsius[best].mean()),
        )  # fmt: skip

    def _scaled(self, x_mm: np.ndarray, y_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        x_low, x_high, y_low, y_high = self.survey.extent_mm
        x_mid, y_mid = self.survey.middle_mm
        return 2 * (x_mm - x_mid) / (x_high - x_low), 2 * (y_mm - y_mid) / (y_high - y_low)


def carries_surface(survey: Survey) -> bool:
    """Tell whether the positions lie so that each of the surface's numbers can be found."""
    terms = _terms(*Surface(survey, np.zeros(6))._scaled(survey.x_mm, survey.y_mm))
    return bool(np.linalg.matrix_rank(terms, tol=_LEAST_FREE * len(terms)) == terms.shape[1])


def surface_of(survey: Survey) -> Surface:
    """Fit the surface by least squares."""
    empty = Surface(survey, np.zeros(6))
    terms = _terms(*empty._scaled(survey.x_mm, survey.y_mm))
    numbers = np.linalg.lstsq(terms, survey.board_c, rcond=None)[0]
    return Surface(survey, numbers)


def _terms(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return np.stack((np.ones_like(u), u, v, u * u, u * v, v * v), axis=-1)


def _celsius(place: Place) -> float:
    return place.celsius


def _between(low: float, high: float) -> np.ndarray:
    return np.linspace(low, high, max(2, round((high - low) / _STEP_MM) + 1))
