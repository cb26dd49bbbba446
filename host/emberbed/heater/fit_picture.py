"""Draw a fit as SVG: measured and simulated temperature, what is left over, the heat."""

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from emberbed.heater.identify import Fitted
from emberbed.heater.step_data import LINEAR_KINDS
from emberbed.plain_text import printable
from emberbed.report.chart import COLOURS, POWER_COLOUR, STYLE, set_time_axis, written
from emberbed.report.chart_model import INK

SIZE_INCHES = (10.0, 7.0)


def fit_svg(fitted: Fitted) -> str:
    """Return the picture as one <svg> element."""
    seconds = fitted.measured.seconds - fitted.measured.seconds[0]
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=SIZE_INCHES)
        FigureCanvasSVG(figure)
        curves, left_over, heat = figure.subplots(
            3, 1, sharex=True, gridspec_kw={"height_ratios": [4.5, 1.8, 1], "hspace": 0.12}
        )
        _draw_curves(curves, fitted, seconds)
        _draw_left_over(left_over, fitted, seconds)
        _draw_heat(heat, fitted, seconds)
        set_time_axis(heat, float(seconds[-1]))
        curves.set_xlim(0, seconds[-1])
        for axes in (curves, left_over, heat):
            axes.patch.set_alpha(0)
            axes.grid(axis="y", color=INK, alpha=0.15, linewidth=0.6)
        return written(figure, f"{printable(fitted.measured.name)}: measured and simulated")


def _draw_curves(axes: Axes, fitted: Fitted, seconds: np.ndarray) -> None:
    axes.plot(seconds, fitted.measured.temperature_c, color=COLOURS[1], linewidth=1.7,
              label="measured")  # fmt: skip
    axes.plot(seconds, fitted.predicted_c, color=COLOURS[0], linestyle=(0, (6, 2)), linewidth=1.7,
              label="simulated")  # fmt: skip
    axes.set_ylabel("temperature, °C")
    _shade_unseen(axes, fitted, seconds)
    if fitted.fitted_rows < len(seconds):  # said once; the shade below it means the same
        axes.text(seconds[fitted.fitted_rows], 0.02, " unseen", fontsize=9, va="bottom",
                  transform=axes.get_xaxis_transform())  # fmt: skip
    axes.legend(loc="best", frameon=False)
    unseen = fitted.percent_unseen
    scored = "" if unseen is None else f", unseen {unseen:.1f} %"
    axes.set_title(f"fitted {fitted.percent_fitted:.1f} %{scored}", fontsize=10, loc="left")


def _draw_left_over(axes: Axes, fitted: Fitted, seconds: np.ndarray) -> None:
    axes.plot(seconds, fitted.measured.temperature_c - fitted.predicted_c, color=COLOURS[2],
              linewidth=1.2)  # fmt: skip
    axes.axhline(0, color=INK, linewidth=0.6)
    axes.set_ylabel("left over, °C")
    _shade_unseen(axes, fitted, seconds)


def _draw_heat(axes: Axes, fitted: Fitted, seconds: np.ndarray) -> None:
    percent = 100 * fitted.measured.drive / fitted.full_drive
    axes.fill_between(seconds, percent, color=POWER_COLOUR, alpha=0.35, linewidth=0, step="post")
    axes.set_ylim(0, 105)
    axes.set_ylabel("power, %" if fitted.measured.kind in LINEAR_KINDS else "drive, %")


def _shade_unseen(axes: Axes, fitted: Fitted, seconds: np.ndarray) -> None:
    if fitted.fitted_rows < len(seconds):
        axes.axvspan(seconds[fitted.fitted_rows], seconds[-1], color=INK, alpha=0.06, linewidth=0)
