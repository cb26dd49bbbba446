"""View factors between parallel rectangles, on one axis or anywhere, from sizes and the gap.

Takes lengths in any one unit, gives the share (0..1) of the first face's radiation that meets the
second. Used once when a bench is built, never in a step.
"""

from collections.abc import Sequence
from math import atan, log, pi, sqrt

import numpy as np


def coaxial_view_factor(first: Sequence[float], second: Sequence[float], gap: float) -> float:
    """Return the share of `first`'s radiation that reaches `second`; each is (length, width)."""
    face = (*_centred(first[0]), *_centred(first[1]))
    whole = cell_view_factors(face, _centred(second[0]), _centred(second[1]), gap)
    return float(whole[0, 0])


def _centred(size: float) -> tuple[float, float]:
    return -size / 2, size / 2


def _corner_term(dx: float, dy: float, gap: float) -> float:
    """Return the double-area integral's term for one pair of corners (unit: length squared)."""
    across_x = sqrt(dx * dx + gap * gap)
    across_y = sqrt(dy * dy + gap * gap)
    return (
        dy * across_x * atan(dy / across_x)
        + dx * across_y * atan(dx / across_y)
        - gap * gap / 2 * log(dx * dx + dy * dy + gap * gap)
    ) / (2 * pi)


def cell_view_factors(
    face: Sequence[float],
    x_lines: Sequence[float] | np.ndarray,
    y_lines: Sequence[float] | np.ndarray,
    gap: float,
) -> np.ndarray:
    """Return the share of a face's radiation that meets each cell of a parallel grid, [y, x].

    The face is (x_low, x_high, y_low, y_high); the cells lie between neighbouring grid lines. The
    shares of all cells add up to the share of the whole grid to rounding.
    """
    corners = np.frompyfunc(lambda dx, dy: _corner_term(dx, dy, gap), 2, 1)
    to_x = np.asarray(x_lines, dtype=float)[None, :]
    to_y = np.asarray(y_lines, dtype=float)[:, None]
    total = np.zeros((to_y.size, to_x.size))
    for k, x in enumerate(face[:2]):
        for m, y in enumerate(face[2:]):
            sign = -1.0 if (k + m) % 2 else 1.0
            total += sign * np.asarray(corners(to_x - x, to_y - y), dtype=float)
    area = (face[1] - face[0]) * (face[3] - face[2])
    return np.diff(np.diff(total, axis=0), axis=1) / area
