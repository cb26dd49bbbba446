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


class End(NamedTuple):
    second: float
    celsius: float
    name: str
    colour: str


def label_ends(axes: Axes, ends: list[End], measured: Sequence[Curve]) -> None:
    """Name every curve where it ends: at the right edge, or inside the picture."""
    early = [end for end in ends if end.second < _EARLY * axes.get_xlim()[1]]
    _label_early_ends(axes, early, measured)
    _label_at_the_edge(axes, [end for end in ends if end not in early])


def _label_at_the_edge(axes: Axes, ends: list[End]) -> None:
    """Name the curves that reach the right edge beside it, none over another."""
    low, high = axes.get_ylim()
    places = spread([end.celsius for end in ends], low, high, least=0.05 * (high - low))
    right = axes.get_xlim()[1]
    for end, place in zip(ends, places, strict=True):
        axes.annotate(
            end.name, xy=(end.second, end.celsius), xytext=(1.025 * right, place), va="center",
            fontsize=9.5, color=INK, annotation_clip=False,  # coloured text is hard to read
            arrowprops={"arrowstyle": "-", "color": end.colour, "linewidth": 1.4, "shrinkA": 2,
                        "shrinkB": 0, "relpos": (0, 0.5)},
        )  # fmt: skip


def _label_early_ends(axes: Axes, ends: list[End], measured: Sequence[Curve]) -> None:
    """Name the curves that end inside the picture where they end: the highest above all lines
    there, the others below theirs."""
    low, high = axes.get_ylim()
    highest = max((end.celsius for end in ends), default=0.0)
    lower = [end for end in ends if end.celsius < highest]
    places = spread([end.celsius for end in lower], low, high, least=0.05 * (high - low))
    for end in ends:
        if end.celsius == highest:
            _label_inside(axes, end, _top_before(end, measured, axes.get_xlim()[1]), "bottom")
    for end, place in zip(lower, places, strict=True):
        _label_inside(axes, end, place, "top")


def _top_before(end: End, measured: Sequence[Curve], width_s: float) -> float:
    """Return the highest value of any curve where a label that ends at `end` will stand."""
    top = end.celsius
    for curve in measured:
        seconds, values = np.asarray(curve.seconds), np.asarray(curve.values)
        under = values[(seconds > end.second - _LABEL_WIDTH * width_s) & (seconds <= end.second)]
        top = max(top, float(np.nanmax(under[np.isfinite(under)], initial=top)))
    return top


def _label_inside(axes: Axes, end: End, place: float, side: Literal["top", "bottom"]) -> None:
    axes.annotate(end.name, xy=(end.second, place), xytext=(-2, 3 if side == "bottom" else -3),
                  textcoords="offset points", ha="right", va=side, fontsize=9.5,
                  color=INK)  # fmt: skip
