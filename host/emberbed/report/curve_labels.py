"""Write the name of each curve at its end, so that no legend is needed and no name covers another.

Names are in the page's own text colour, which is always readable; a short line in the curve's
colour leads to them.
"""

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from matplotlib.axes import Axes

from emberbed.report.chart_model import INK, Curve
from emberbed.report.label_places import spread

_EARLY = 0.97  # a curve that ends before this part of the width is named where it ends
_LABEL_WIDTH = 0.12  # of the width, for a label inside the picture
_FALL_WIDTH = 0.1  # of a label: behind its end a curve may fall steeply, beside the words


class End(NamedTuple):
    second: float
    celsius: float
    name: str
    role: str
    colour: str

    def words(self) -> str:
        return f"{self.name}\n{self.role}" if self.role else self.name


def _apart(ends: list[End], low: float, high: float) -> float:
    """Return how far apart names must stand: by the lines that the longest has."""
    return (0.08 if any(end.role for end in ends) else 0.05) * (high - low)


def label_ends(
    axes: Axes, ends: list[End], measured: Sequence[Curve], top_c: float, lines_s: Sequence[float]
) -> None:
    """Name every curve where it ends, at the right edge or inside the picture; above `top_c` stand
    other words, and at `lines_s` upright lines."""
    early = [end for end in ends if end.second < _EARLY * axes.get_xlim()[1]]
    _label_early_ends(axes, early, measured, lines_s)
    _label_at_the_edge(axes, [end for end in ends if end not in early], top_c)


def _label_at_the_edge(axes: Axes, ends: list[End], top_c: float) -> None:
    """Name the curves that reach the right edge beside it, none over another."""
    low, high = axes.get_ylim()
    places = spread([end.celsius for end in ends], low, top_c, _apart(ends, low, high))
    right = axes.get_xlim()[1]
    for end, place in zip(ends, places, strict=True):
        axes.annotate(
            end.words(), xy=(end.second, end.celsius), xytext=(1.025 * right, place), va="center",
            fontsize=9, color=INK, annotation_clip=False,  # coloured text is hard to read
            arrowprops={"arrowstyle": "-", "color": end.colour, "linewidth": 1.4, "shrinkA": 2,
                        "shrinkB": 0, "relpos": (0, 0.5)},
        )  # fmt: skip


def _label_early_ends(
    axes: Axes, ends: list[End], measured: Sequence[Curve], lines_s: Sequence[float]
) -> None:
    """Name the curves that end inside the picture where they end: the highest above all lines
    there, the others below theirs."""
    low, high = axes.get_ylim()
    width_s = _LABEL_WIDTH * axes.get_xlim()[1]
    highest = max((end.celsius for end in ends), default=0.0)
    lower = [end for end in ends if end.celsius < highest]
    places = spread([end.celsius for end in lower], low, high, _apart(lower, low, high))
    for end in ends:
        if end.celsius == highest:
            crossed = any(end.second - width_s < at < end.second - 1 for at in lines_s)
            from_s = end.second + width_s * (_FALL_WIDTH if crossed else -1)
            place = _top_within(from_s, from_s + width_s, end.celsius, measured)
            apart = _apart([end], low, high)
            if place > end.celsius + apart and _free_below(from_s, end, apart, measured):
                _label_inside(axes, end, end.celsius, "top", "left" if crossed else "right")
                continue
            _label_inside(axes, end, place, "bottom", "left" if crossed else "right")
    for end, place in zip(lower, places, strict=True):
        _label_inside(axes, end, place, "top", "right")


def _top_within(from_s: float, to_s: float, least: float, measured: Sequence[Curve]) -> float:
    """Return the highest value of any curve where a label will stand."""
    top = least
    for curve in measured:
        seconds, values = np.asarray(curve.seconds), np.asarray(curve.values)
        under = values[(seconds >= from_s) & (seconds <= to_s)]
        top = max(top, float(np.nanmax(under[np.isfinite(under)], initial=top)))
    return top


def _free_below(from_s: float, end: End, apart: float, measured: Sequence[Curve]) -> bool:
    """Tell whether no curve runs through the words if they stand right below the end."""
    width_s = abs(end.second - from_s)
    for curve in measured:
        seconds, values = np.asarray(curve.seconds), np.asarray(curve.values)
        beside = values[(seconds >= from_s) & (seconds <= from_s + width_s)]
        if ((beside < end.celsius - apart / 4) & (beside > end.celsius - 1.5 * apart)).any():
            return False
    return True


def _label_inside(
    axes: Axes,
    end: End,
    place: float,
    above: Literal["top", "bottom"],
    side: Literal["left", "right"],
) -> None:
    """Write a name beside a curve's end; `side` is the side of the words that is at the end."""
    away = (-2 if side == "right" else 9, 3 if above == "bottom" else -3)
    axes.annotate(end.words(), xy=(end.second, place), xytext=away, textcoords="offset points",
                  ha=side, va=above, fontsize=9, color=INK)  # fmt: skip
