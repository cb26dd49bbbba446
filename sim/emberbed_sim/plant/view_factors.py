"""View factors between parallel rectangles, on one axis or anywhere, from sizes and the gap.

Takes lengths in any one unit, gives the share (0..1) of the first face's radiation that meets the
second. Used once when a bench is built, never in a step.
"""

from collections.abc import Sequence
from math import atan, log, pi, sqrt
from typing import TYPE_CHECKING, Union

if TYPE_CHECKING:
    import numpy as np

Face = Sequence[float]  # x_low, x_high, y_low, y_high
Lines = Union[Sequence[float], "np.ndarray"]


def coaxial_view_factor(first: Sequence[float], second: Sequence[float], gap: float) -> float:
    """Return the share of `first`'s radiation that reaches `second`; each is (length, width)."""
    face = (*_centred(first[0]), *_centred(first[1]))
    return _shares(face, _centred(second[0]), _centred(second[1]), gap)[0][0]


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


def cell_view_factors(face: Face, x_lines: Lines, y_lines: Lines, gap: float) -> "np.ndarray":
    """Return the share of a face's radiation that meets each cell of a parallel grid, [y, x].

    The cells lie between neighbouring grid lines. The shares of all cells add up to the share of
    the whole grid to rounding.
    """
    import numpy as np  # a lumped bench needs none

    return np.array(_shares(face, list(map(float, x_lines)), list(map(float, y_lines)), gap))


def _shares(
    face: Face, x_lines: Sequence[float], y_lines: Sequence[float], gap: float
) -> list[list[float]]:
    """Return the cells' shares, row by row."""
    corners = [[_corner_sum(face, x, y, gap) for x in x_lines] for y in y_lines]
    area = (face[1] - face[0]) * (face[3] - face[2])
    return [
        [((high[n + 1] - low[n + 1]) - (high[n] - low[n])) / area for n in range(len(x_lines) - 1)]
        for low, high in zip(corners, corners[1:], strict=False)
    ]


def _corner_sum(face: Face, to_x: float, to_y: float, gap: float) -> float:
    """Return what one corner of the grid has to do with the face's four."""
    total = 0.0
    for k, x in enumerate(face[:2]):
        for m, y in enumerate(face[2:]):
            sign = -1.0 if (k + m) % 2 else 1.0
            total += sign * _corner_term(to_x - x, to_y - y, gap)
    return total
