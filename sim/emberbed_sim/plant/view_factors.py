"""View factors between two parallel rectangles on one axis, from their sizes and the gap.

Takes lengths in any one unit, gives the share (0..1) of the first face's radiation that meets the
second. Used once when a bench is built, never in a step.
"""

from collections.abc import Sequence
from math import atan, log, pi, sqrt


def coaxial_view_factor(first: Sequence[float], second: Sequence[float], gap: float) -> float:
    """Return the share of `first`'s radiation that reaches `second`; each is (length, width)."""
    total = 0.0
    for i, x in enumerate((-first[0] / 2, first[0] / 2)):
        for j, y in enumerate((-first[1] / 2, first[1] / 2)):
            for k, other_x in enumerate((-second[0] / 2, second[0] / 2)):
                for m, other_y in enumerate((-second[1] / 2, second[1] / 2)):
                    sign = -1.0 if (i + j + k + m) % 2 else 1.0
                    total += sign * _corner_term(x - other_x, y - other_y, gap)
    return total / (first[0] * first[1])


def _corner_term(dx: float, dy: float, gap: float) -> float:
    """Return the double-area integral's term for one pair of corners (unit: length squared)."""
    across_x = sqrt(dx * dx + gap * gap)
    across_y = sqrt(dy * dy + gap * gap)
    return (
        dy * across_x * atan(dy / across_x)
        + dx * across_y * atan(dx / across_y)
        - gap * gap / 2 * log(dx * dx + dy * dy + gap * gap)
    ) / (2 * pi)
