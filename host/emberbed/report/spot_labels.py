"""Write words beside points of a picture so that they cover neither each other nor a point.

Takes points in the axes' own units and a label each; every label goes to the first of four corners
around its point that is free and inside the axes, or to the least bad one.
"""

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

FONT_POINTS = 8.5
_CHARACTER = 0.6  # of the font's size
_LINE = 1.7
_AWAY_POINTS = 8.0
_CORNERS = ((1, 1), (-1, 1), (1, -1), (-1, -1))

Box = tuple[float, float, float, float]  # x_low, x_high, y_low, y_high in points


def write_beside(
    figure: Figure,
    axes: Axes,
    points: Sequence[tuple[float, float]],
    labels: Sequence[str],
    **look: Any,
) -> None:
    """Annotate the points; `look` goes to every label."""
    figure.draw_without_rendering()  # now the axes have their place
    scale = 72 / figure.dpi
    spots = [axes.transData.transform(point) * scale for point in points]
    bounds = axes.get_window_extent()
    inside = tuple(edge * scale for edge in (bounds.x0, bounds.x1, bounds.y0, bounds.y1))
    taken: list[Box] = [(x - 5, x + 5, y - 5, y + 5) for x, y in spots]
    for point, (x, y), label in zip(points, spots, labels, strict=True):
        boxes = [_box(x, y, label, corner) for corner in _CORNERS]
        costs = [_covered(box, taken) + _outside(box, inside) for box in boxes]
        best = costs.index(min(costs))
        taken.append(boxes[best])
        right, up = _CORNERS[best]
        axes.annotate(
            label, point, (right * _AWAY_POINTS, up * _AWAY_POINTS), textcoords="offset points",
            fontsize=FONT_POINTS, ha="left" if right > 0 else "right",
            va="bottom" if up > 0 else "top", **look,
        )  # fmt: skip


def _box(x: float, y: float, label: str, corner: tuple[int, int]) -> Box:
    across = len(label) * _CHARACTER * FONT_POINTS + 4
    high = _LINE * FONT_POINTS
    from_x, from_y = x + corner[0] * _AWAY_POINTS, y + corner[1] * _AWAY_POINTS
    x_ends = sorted((from_x, from_x + corner[0] * across))
    y_ends = sorted((from_y, from_y + corner[1] * high))
    return x_ends[0], x_ends[1], y_ends[0], y_ends[1]


def _covered(box: Box, taken: Sequence[Box]) -> float:
    return sum(_common(box, other) for other in taken)


def _common(one: Box, other: Box) -> float:
    across = min(one[1], other[1]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[2], other[2])
    return max(across, 0.0) * max(high, 0.0)


def _outside(box: Box, inside: Sequence[float]) -> float:
    x_low, x_high, y_low, y_high = inside
    whole = (box[1] - box[0]) * (box[3] - box[2])
    return whole - _common(box, (x_low, x_high, y_low, y_high))
