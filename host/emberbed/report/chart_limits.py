"""Draw limits on a chart of temperatures: a level line with its words, or the words alone where the
line would leave no room for the curves.

`in_sight` comes before the curves are named, `draw_limits` after.
"""

from collections.abc import Sequence
from typing import Literal

from matplotlib.axes import Axes

from emberbed.plain_text import printable
from emberbed.report.chart_model import INK, Limit

MOST_STRETCH = 0.35  # of the height, by which limits may press the curves together
_ROOM = 0.06  # of the height, above the highest line, for its words
_NAME_CHARACTERS = 40
_STYLE = (0, (8, 2, 2, 2, 2, 2))
_ROW = 0.045  # of the height, for words without a line


def in_sight(limits: Sequence[Limit], low: float, high: float) -> tuple[float, float]:
    """Return the range of the axis with the limits that may be in it."""
    near = [one.celsius for one in limits if one.celsius < high + MOST_STRETCH * (high - low)]
    top = max(near, default=low)
    return low, max(high, top + _ROOM * (top - low))


def draw_limits(axes: Axes, limits: Sequence[Limit], top_c: float) -> None:
    """Draw those below `top_c`, name the others at the top; on the left, where boards are cold."""
    low, high = axes.get_ylim()
    above = [one for one in limits if not low < one.celsius < top_c]
    for one in limits:
        if one in above:
            continue
        axes.axhline(one.celsius, color=INK, linestyle=_STYLE, linewidth=0.9, alpha=0.75)
        _write(axes, _words(one), (one.celsius - low) / (high - low), "bottom")
    for row, one in enumerate(above):
        at = (top_c - low) / (high - low) - _ROW * row
        _write(axes, f"{_words(one)}, above this picture", at, "top")


def _write(axes: Axes, words: str, at: float, side: Literal["top", "bottom"]) -> None:
    away = (4, 1.5 if side == "bottom" else 0)
    axes.annotate(words, xy=(0, at), xytext=away, xycoords=axes.transAxes,
                  textcoords="offset points", ha="left", va=side, fontsize=8.5)  # fmt: skip


def _words(limit: Limit) -> str:
    whose = f" of {printable(limit.name, _NAME_CHARACTERS)}" if limit.name else ""
    return f"limit {limit.celsius:g} °C{whose}{' until hot air' if limit.until_air else ''}"
