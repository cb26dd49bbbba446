"""Draw a board from above as SVG: a field of values in colour, outlines, spots with words.

Takes plain arrays in mm and one value per cell, nothing of a run or a simulation, so that a
rehearsed board and a surveyed heater are drawn alike. Words on the coloured field stand in boxes:
they are readable on any colour and in any page, light or dark.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from emberbed.plain_text import printable
from emberbed.report.chart import STYLE, written
from emberbed.report.spot_labels import write_beside

COLOURS = "cividis"  # even in lightness and safe for colour-blind eyes
DARK, LIGHT = "#1a1a1a", "#ffffff"
WIDTH_INCHES = 9.0
_BESIDE_INCHES = 1.9  # words left and right of the field
_ABOVE_INCHES = 0.9  # and above and below it
_LEAST_INCHES, _MOST_INCHES = 3.0, 12.0


@dataclass(frozen=True)
class Outline:
    """A rectangle (x_low, x_high, y_low, y_high) with its name; `strong` for what counts."""

    name: str
    extent_mm: tuple[float, float, float, float]
    strong: bool = False


@dataclass(frozen=True)
class Spot:
    """A point with words beside it."""

    label: str
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class BoardPicture:
    """All that is drawn; `values` [y, x] lie between neighbouring lines, rows from low y up.

    `hottest` and `coldest` are (x_mm, y_mm, value) or None.
    """

    x_lines_mm: np.ndarray
    y_lines_mm: np.ndarray
    values: np.ndarray
    outlines: Sequence[Outline]
    spots: Sequence[Spot]
    hottest: tuple[float, float, float] | None
    coldest: tuple[float, float, float] | None
    title: str
    unit: str = "°C"


def board_svg(board: BoardPicture) -> str:
    """Return the picture as one <svg> element."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_INCHES, _height_inches(board)), layout="constrained")
        FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        _draw_field(figure, axes, board)
        _draw_outlines(axes, board.outlines)
        points = [(spot.x_mm, spot.y_mm) for spot in board.spots]
        for at in points:
            axes.plot(*at, "o", markersize=5, color=LIGHT, markeredgecolor=DARK)
        labels = [printable(spot.label) for spot in board.spots]
        for name, marker, spot in (
            ("hottest", "^", board.hottest),
            ("coldest", "v", board.coldest),
        ):
            if spot is not None:
                axes.plot(*spot[:2], marker, markersize=9, color=LIGHT, markeredgecolor=DARK)
                points.append(spot[:2])
                labels.append(f"{name} {spot[2]:.1f} {board.unit}")
        write_beside(figure, axes, points, labels, color=DARK, bbox=_box())
        return written(figure, board.title)


def _draw_field(figure: Figure, axes: Axes, board: BoardPicture) -> None:
    mesh = axes.pcolormesh(
        board.x_lines_mm, board.y_lines_mm, board.values, cmap=COLOURS,
        edgecolors="face", linewidth=0.3,
    )  # fmt: skip
    axes.patch.set_alpha(0)
    axes.set_aspect("equal")
    axes.set_xlabel("x, mm")
    axes.set_ylabel("y, mm")
    axes.set_title(printable(board.title, 120), loc="left", fontsize=10)
    bar = figure.colorbar(mesh, cax=axes.inset_axes((1.02, 0.0, 0.03, 1.0)))
    bar.set_label(board.unit)


def _height_inches(board: BoardPicture) -> float:
    length, width = np.ptp(board.x_lines_mm), np.ptp(board.y_lines_mm)
    wanted = (WIDTH_INCHES - _BESIDE_INCHES) * float(width / length) + _ABOVE_INCHES
    return min(max(wanted, _LEAST_INCHES), _MOST_INCHES)


def _draw_outlines(axes: Axes, outlines: Sequence[Outline]) -> None:
    for one in outlines:
        x_low, x_high, y_low, y_high = one.extent_mm
        for colour, width in ((DARK, 3.0 if one.strong else 2.0), (LIGHT, 1.2)):
            axes.add_patch(
                Rectangle((x_low, y_low), x_high - x_low, y_high - y_low, fill=False,
                          edgecolor=colour, linewidth=width,
                          linestyle="-" if one.strong else (0, (5, 2)))
            )  # fmt: skip
        axes.text((x_low + x_high) / 2, y_high, printable(one.name), color=DARK, fontsize=8,
                  ha="center", va="bottom", bbox=_box())  # fmt: skip


def _box() -> dict[str, object]:
    return {"boxstyle": "round,pad=0.15", "facecolor": LIGHT, "edgecolor": "none", "alpha": 0.85}
