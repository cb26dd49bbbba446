"""A heated board as a thin plate, steady: what each zone's radiation does to every spot.

Takes rectangles of emitters below the board and their emissive powers (W/m2), gives temperatures in
kelvin on a grid of cells. Each cell takes in what it sees of every zone, loses radiation and
natural convection on both faces and conducts to its neighbours. Millimetres from any one origin.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
from scipy.sparse import csr_matrix, diags
from scipy.sparse.linalg import spsolve

from emberbed.heater.model_parameters import SIGMA_W_M2_K4

EMISSIVITY = 0.9  # glass-fibre laminate, camera makers' tables
# both faces of a horizontal plate in air: McAdams' 0.54 and 0.27 Ra^1/4 at 60 to 110 degC
CONVECTION_W_M2_K = 1.32 + 0.66  # times (dT / L)^1/4, L = area / perimeter
AROUND_K = 273.15 + 40.0  # housing and air above, after a quarter of an hour; from memory
CELLS = (24, 16)
_STEPS = 30
_CLOSE_K = 1e-6


@dataclass(frozen=True)
class Zone:
    """The emitters of one zone as a rectangle: middle, length along x, width along y."""

    x_mm: float
    y_mm: float
    length_mm: float
    width_mm: float

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """Return (x_low, x_high, y_low, y_high)."""
        half_x, half_y = self.length_mm / 2, self.width_mm / 2
        return self.x_mm - half_x, self.x_mm + half_x, self.y_mm - half_y, self.y_mm + half_y


class Plate:
    """A board over zones; `sheet_w_k` is conductivity times thickness."""

    def __init__(
        self,
        extent_mm: tuple[float, float, float, float],
        zones: Sequence[Zone],
        gap_mm: float,
        sheet_w_k: float,
    ) -> None:
        x_low, x_high, y_low, y_high = extent_mm
        columns, rows = CELLS
        self._dx, self._dy = (x_high - x_low) / columns, (y_high - y_low) / rows
        self._first = x_low + self._dx / 2, y_low + self._dy / 2
        x = self._first[0] + self._dx * np.arange(columns)
        y = self._first[1] + self._dy * np.arange(rows)
        grid_x, grid_y = (one.ravel() for one in np.meshgrid(x, y))
        self.seen = np.array([spot_view_factor(zone, grid_x, grid_y, gap_mm) for zone in zones])
        self._zones_mm2 = np.array([zone.length_mm * zone.width_mm for zone in zones])
        self._conducts = _laplacian(sheet_w_k, self._dx, self._dy)
        length, width = (x_high - x_low) * 1e-3, (y_high - y_low) * 1e-3
        self._air = CONVECTION_W_M2_K / (length * width / (2 * (length + width))) ** 0.25

    def temperatures_k(self, emitted_w_m2: np.ndarray) -> np.ndarray:
        """Return every cell's steady temperature for these emissive powers of the zones."""
        gained = EMISSIVITY * (emitted_w_m2 @ self.seen)
        gained = gained + EMISSIVITY * SIGMA_W_M2_K4 * AROUND_K**4 * (2 - self.seen.sum(axis=0))
        kelvin = np.full(gained.size, 400.0)
        for _ in range(_STEPS):
            lost, slope = self._losses(kelvin)
            wrong = gained - lost - self._conducts @ kelvin
            change = spsolve(csr_matrix(self._conducts + diags(slope)), wrong)
            kelvin = np.maximum(kelvin + change, AROUND_K / 2)
            if np.abs(change).max() < _CLOSE_K:
                break
        return kelvin

    def share_on_board(self) -> np.ndarray:
        """Return how much of each zone's radiation meets the board (reciprocity)."""
        return self.seen.sum(axis=1) * self._dx * self._dy / self._zones_mm2

    def at(self, kelvin: np.ndarray, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
        """Return the plate at spots, between the middles of the cells around them."""
        columns, rows = CELLS
        field = kelvin.reshape(rows, columns)
        across = np.clip((x_mm - self._first[0]) / self._dx, 0, columns - 1)
        along = np.clip((y_mm - self._first[1]) / self._dy, 0, rows - 1)
        left = np.minimum(across.astype(int), columns - 2)
        low = np.minimum(along.astype(int), rows - 2)
        right_share, high_share = across - left, along - low
        return (
            field[low, left] * (1 - right_share) * (1 - high_share)
            + field[low, left + 1] * right_share * (1 - high_share)
            + field[low + 1, left] * (1 - right_share) * high_share
            + field[low + 1, left + 1] * right_share * high_share
        )

    def _losses(self, kelvin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return what both faces of each cell lose, W/m2, and its slope, W/m2K."""
        over = kelvin - AROUND_K
        air = self._air * np.abs(over) ** 0.25
        radiated = 2 * EMISSIVITY * SIGMA_W_M2_K4 * kelvin**4
        return radiated + air * over, 4 * radiated / kelvin + 1.25 * air


def spot_view_factor(zone: Zone, x_mm: np.ndarray, y_mm: np.ndarray, gap_mm: float) -> np.ndarray:
    """Return how much of a spot's view is a parallel rectangle at this distance (0..1)."""
    x_low, x_high, y_low, y_high = zone.extent_mm

    def corner(x_end: float, y_end: float) -> np.ndarray:
        x, y = (x_end - x_mm) / gap_mm, (y_end - y_mm) / gap_mm
        root_x, root_y = np.sqrt(1 + x * x), np.sqrt(1 + y * y)
        return (x / root_x * np.arctan(y / root_x) + y / root_y * np.arctan(x / root_y)) / (2 * pi)

    return corner(x_high, y_high) - corner(x_low, y_high) - corner(x_high, y_low) + corner(
        x_low, y_low
    )  # fmt: skip


def _laplacian(sheet_w_k: float, dx_mm: float, dy_mm: float) -> csr_matrix:
    """Return what cells lose to their neighbours, W/m2 per K; nothing leaves over the rim."""
    columns, rows = CELLS
    number = np.arange(columns * rows).reshape(rows, columns)
    pairs = [
        (number[:, :-1].ravel(), number[:, 1:].ravel(), sheet_w_k / (dx_mm * 1e-3) ** 2),
        (number[:-1].ravel(), number[1:].ravel(), sheet_w_k / (dy_mm * 1e-3) ** 2),
    ]
    total = csr_matrix((number.size, number.size))
    for one, other, conductance in pairs:
        ones = np.full(one.size, conductance)
        links = csr_matrix((ones, (one, other)), shape=total.shape)
        links = links + links.T
        total = total + diags(np.asarray(links.sum(axis=1)).ravel()) - links
    return csr_matrix(total)
