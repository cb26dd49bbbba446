"""Draw a run as one SVG: temperatures above, power in a strip of its own below.

Takes plain arrays (seconds, degrees C, percent), nothing of the store, so that a rehearsed run is
drawn alike. NaN is a gap. Curves are told apart by colour (Okabe-Ito, safe for colour-blind eyes)
and by line style, and carry their names at their ends. What matplotlib draws in INK is written as
`currentColor`: the picture takes the text colour of the page around it, light or dark.
"""

import re
import warnings
from collections.abc import Iterator, Sequence
from io import StringIO
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure, SubFigure
from matplotlib.ticker import FuncFormatter, MultipleLocator

from emberbed.plain_text import printable
from emberbed.report.chart_flags import HATCH_WIDTH, draw_flags, draw_spans, make_room
from emberbed.report.chart_limits import draw_limits, in_sight
from emberbed.report.chart_model import INK, Band, Chart, Curve, Mark
from emberbed.report.chart_shades import draw_shades, name_shades
from emberbed.report.curve_labels import End, label_ends
from emberbed.report.thinning import averaged, thinned

# Okabe and Ito's palette (https://jfly.uni-koeln.de/color/), those first that show on black too
COLOURS = (
    "#D55E00", "#0072B2", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#F0E442", INK,
)  # fmt: skip
LINE_STYLES = ("-", (0, (6, 2)), (0, (3, 1.5)), (0, (7, 2, 1.5, 2)), (0, (1.5, 1.5)),
               (0, (9, 3)), (0, (5, 1.5, 1.5, 1.5, 1.5, 1.5)), (0, (4, 4)))  # fmt: skip
ASKED_STYLE = (0, (1.2, 1.6))
COLOUR_NAMES = ("orange", "blue", "green", "pink", "amber", "sky blue", "yellow", "dark")
STYLE_NAMES = ("", "dashed", "short-dashed", "dash-dotted", "dotted", "long-dashed",
               "dash-dot-dotted", "wide-dashed")  # fmt: skip
POWER_COLOUR = "#E69F00"
SIZE_INCHES = (10.0, 6.0)
_TICK_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600)
_MOST_TICKS = 12
_LABEL_CHARACTERS = 26
LEAST_SPAN_C = 40  # the noise of a board that never got warm is not blown up to mountains
_CHARACTER = 0.011  # of the width, in an event's label
_CHARACTERS_ACROSS = 110  # of a stage's label, over the whole width
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "emberbed",
    "font.family": "sans-serif",
    "font.size": 10,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.parse_math": False,
    "hatch.linewidth": HATCH_WIDTH,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def run_chart_svg(chart: Chart) -> str:
    """Return the chart as one <svg> element, to be put into a page or a file of its own."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=SIZE_INCHES)
        FigureCanvasSVG(figure)
        draw_chart(figure, chart)
        return written(figure, chart.title)


def draw_chart(figure: Figure | SubFigure, chart: Chart) -> None:
    """Draw the chart over the whole of `figure`, whose settings are STYLE."""
    temperatures, power = _axes(figure, chart)
    _draw_stages(temperatures, chart)
    draw_spans(temperatures, chart.spans)
    draw_shades(temperatures, chart.shades, _colours(chart))
    top_c = _draw_curves(temperatures, chart)
    draw_limits(temperatures, chart.limits, top_c)
    name_shades(temperatures, chart.shades, top_c)
    _draw_events(temperatures, chart, top_c)
    draw_flags(temperatures, chart.flags)
    if power is not None and chart.power is not None:
        _draw_power(power, chart)


def _axes(figure: Figure | SubFigure, chart: Chart) -> tuple[Axes, Axes | None]:
    last_s = _last_second(chart)
    heights = [5.2, 1] if chart.power is not None else [1]
    grid = figure.add_gridspec(len(heights), 1, height_ratios=heights, hspace=0.1, left=0.075,
                               right=0.83, top=0.945, bottom=0.095)  # fmt: skip
    temperatures = figure.add_subplot(grid[0])
    power = figure.add_subplot(grid[1], sharex=temperatures) if len(heights) > 1 else None
    temperatures.set_xlim(0, last_s)
    temperatures.set_ylabel(f"{printable(chart.upright)}, °C")
    temperatures.grid(axis="y", color=INK, alpha=0.15, linewidth=0.6)
    set_time_axis(power or temperatures, last_s)
    if power is not None:
        temperatures.tick_params(labelbottom=False)
    for axes in figure.axes:
        axes.patch.set_alpha(0)
    return temperatures, power


def _last_second(chart: Chart) -> float:
    ends = [float(curve.seconds[-1]) for curve in _curves(chart) if len(curve.seconds)]
    return max([*ends, *(band.to_s for band in chart.stages), 1.0])


def _curves(chart: Chart) -> Iterator[Curve]:
    yield from chart.measured
    for curve in (chart.asked, chart.power):
        if curve is not None:
            yield curve


def set_time_axis(axes: Axes, last_s: float) -> None:
    fitting = [step for step in _TICK_STEPS_S if last_s / step <= _MOST_TICKS]
    axes.xaxis.set_major_locator(MultipleLocator(fitting[0] if fitting else _TICK_STEPS_S[-1]))
    in_hours = last_s >= 7200
    big, small = (3600, 60) if in_hours else (60, 1)
    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda at_s, _: f"{int(at_s // big)}:{int(at_s % big // small):02d}")
    )
    axes.set_xlabel("time, h:min" if in_hours else "time, min:s")


def _draw_stages(axes: Axes, chart: Chart) -> None:
    for number, band in enumerate(chart.stages):
        if number % 2 == 0:
            axes.axvspan(band.from_s, band.to_s, color=INK, alpha=0.06, linewidth=0)
    for at_s, label in _stage_labels(chart.stages, axes.get_xlim()[1] / _CHARACTERS_ACROSS):
        axes.text(at_s, 1.015, label, transform=axes.get_xaxis_transform(),
                  ha="center", va="bottom", fontsize=9)  # fmt: skip


def _stage_labels(stages: Sequence[Band], character_s: float) -> list[tuple[float, str]]:
    """Return (middle, label) of the stages: the whole name inside its band; where that is too
    narrow, the short one, which may stand out on both sides as long as it meets no other."""
    labels = {}
    for number, band in enumerate(stages):
        name = printable(band.name, _LABEL_CHARACTERS)
        if len(name) * character_s <= band.to_s - band.from_s:
            labels[number] = name
    for number, band in enumerate(stages):
        taken = [(_middle(stages[n]), len(label)) for n, label in labels.items()]
        free = all(
            abs(_middle(band) - at_s) > (len(band.short) + long + 1) / 2 * character_s
            for at_s, long in taken
        )
        if number not in labels and band.short and free:
            labels[number] = band.short
    return [(_middle(stages[number]), label) for number, label in labels.items()]


def _middle(band: Band) -> float:
    return (band.from_s + band.to_s) / 2


def _colours(chart: Chart) -> dict[str, str]:
    return {
        curve.name: COLOURS[number % len(COLOURS)] for number, curve in enumerate(chart.measured)
    }


def _draw_curves(axes: Axes, chart: Chart) -> float:
    """Draw and name the curves; return the temperature above which other words stand."""
    ends: list[End] = []
    for number, curve in enumerate(chart.measured):
        colour = COLOURS[number % len(COLOURS)]
        style = LINE_STYLES[number % len(LINE_STYLES)]
        ends += _draw_curve(axes, curve, colour, style, 1.7)
    if chart.asked is not None:
        ends += _draw_curve(axes, chart.asked, INK, ASKED_STYLE, 1.6)
    axes.margins(y=0.08)
    axes.autoscale(axis="y")
    low, high = in_sight(chart.limits, *axes.get_ylim())
    axes.set_ylim(low, high)
    if high - low < LEAST_SPAN_C:
        low -= LEAST_SPAN_C / 10  # room for the labels of events
        axes.set_ylim(low, low + LEAST_SPAN_C)
    top_c = make_room(axes, chart.flags)
    label_ends(axes, ends, chart.measured, top_c, [flag.at_s for flag in chart.flags])
    return top_c


def _draw_curve(axes: Axes, curve: Curve, colour: str, style, width: float) -> Iterator[End]:
    seconds, values = thinned(np.asarray(curve.seconds, float), np.asarray(curve.values, float))
    axes.plot(seconds, values, color=colour, linestyle=style, linewidth=width)
    read = np.flatnonzero(np.isfinite(values))
    if len(read):
        name = printable(curve.name, _LABEL_CHARACTERS)
        role = printable(curve.role, _LABEL_CHARACTERS)
        yield End(float(seconds[read[-1]]), float(values[read[-1]]), name, role, colour)


def _draw_events(axes: Axes, chart: Chart, top_c: float) -> None:
    marks = sorted(chart.events, key=lambda mark: mark.at_s)
    low, high = axes.get_ylim()
    for mark in marks:
        axes.axvline(mark.at_s, ymax=(top_c - low) / (high - low), color=INK, alpha=0.3,
                     linewidth=0.6)  # fmt: skip
    for group in _neighbours(marks, _CHARACTER * axes.get_xlim()[1]):
        axes.text(group[0].at_s, 0.012, f"▴{_label(group)}", transform=axes.get_xaxis_transform(),
                  ha="left", va="bottom", fontsize=8.5)  # fmt: skip


def _label(group: list[Mark]) -> str:
    return group[0].label if len(group) == 1 else f"{group[0].label}–{group[-1].label}"


def _neighbours(marks: list[Mark], character_s: float) -> list[list[Mark]]:
    """Group marks so that no group's label runs into the next one."""
    groups: list[list[Mark]] = []
    for mark in marks:
        if groups and mark.at_s < groups[-1][0].at_s + (len(_label(groups[-1])) + 2) * character_s:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return groups


def _draw_power(axes: Axes, chart: Chart) -> None:
    assert chart.power is not None
    seconds, percent = averaged(
        np.asarray(chart.power.seconds, float), np.asarray(chart.power.values, float)
    )
    axes.fill_between(seconds, percent, color=POWER_COLOUR, alpha=0.35, linewidth=0)
    axes.plot(seconds, percent, color=POWER_COLOUR, linewidth=1)
    axes.set_ylim(0, 105)
    axes.set_yticks([0, 50, 100])
    axes.set_ylabel(f"{printable(chart.power.name, _LABEL_CHARACTERS)}, %")


def written(figure: Figure, title: str) -> str:
    stream = StringIO()
    with warnings.catch_warnings():
        # a name in another script: our font lacks it, the browser's does not
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None})
    text = stream.getvalue()
    svg = text[text.index("<svg") :].replace(INK, "currentColor")
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, count=1, flags=re.DOTALL)
    head, _, rest = svg.partition(">")
    head = re.sub(r' (width|height)="[^"]*"', "", head)
    plain = printable(title, 200).replace("&", "&amp;").replace("<", "&lt;")
    return f'{head} role="img" style="width: 100%; height: auto"><title>{plain}</title>{rest}'
