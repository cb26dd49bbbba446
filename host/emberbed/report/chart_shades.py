"""Draw where a curve may lie, behind the curves: a filled band in the curve's own colour.

`draw_shades` comes before the curves, `name_shades` after them. Two edges are drawn too, so that
the band shows in black and white; its words stand above the beginning, where boards are cold.
"""

from collections.abc import Mapping, Sequence
from textwrap import wrap

import numpy as np
from matplotlib.axes import Axes

from emberbed.plain_text import printable
from emberbed.report.chart_model import INK, Shade

ACROSS = 24  # characters in a line, left of most that a person marks


def draw_shades(axes: Axes, shades: Sequence[Shade], colours: Mapping[str, str]) -> None:
    """Fill each shade; `colours` of the curves by name."""
    for shade in shades:
        colour = colours.get(shade.curve, INK)
        axes.fill_between(shade.seconds, shade.low, shade.high, color=colour, alpha=0.22,
                          linewidth=0)  # fmt: skip
        for edge in (shade.low, shade.high):
            axes.plot(shade.seconds, edge, color=colour, alpha=0.6, linewidth=0.5)


def name_shades(axes: Axes, shades: Sequence[Shade], top_c: float) -> None:
    """Say what the shades are, below the temperature where other words stand."""
    low, high = axes.get_ylim()
    words = [
        wrap(f"shaded: {printable(shade.words, 120)}", ACROSS)
        for shade in shades
        if np.isfinite(np.asarray(shade.low, float)).any()
    ]
    axes.text(0.01, (top_c - low) / (high - low), "\n".join(sum(words, [])),
              transform=axes.transAxes, ha="left", va="top", fontsize=8.5)  # fmt: skip
