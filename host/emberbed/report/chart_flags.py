"""Draw what a person did on a chart: named lines with their words above the curves, and the times
of hot air and of holding hatched, so that they are told apart in black and white too.

`make_room` comes before the curves are named, `draw_flags` after. Words never cover a curve or each
other; where there is no room for one, its line is drawn thin and without it.
"""

from collections.abc import Sequence

from matplotlib.axes import Axes

from emberbed.plain_text import printable
from emberbed.report.chart_model import INK, Flag, Span
from emberbed.report.label_places import rows_for

FLAG_WIDTH = 1.1  # of the line, which no other line of a chart has
MOST_ROWS = 6
LABEL_CHARACTERS = 22
_ROW = 0.042  # of the height
_TOP = 0.012
_CHARACTER = 0.0105  # of the width
_GAP = 2  # characters between two labels
_SPAN_WORDS = 0.055  # above the numbers of events
HATCH_WIDTH = 0.7
# colour, hatch, its strength
_SPAN_LOOKS = {"hot air": ("#D55E00", "///", 0.55), "held": (INK, "...", 0.35)}


def draw_spans(axes: Axes, spans: Sequence[Span]) -> None:
    """Hatch each span over the whole height; say "hot air" where there is room for it."""
    for span in spans:
        colour, hatch, alpha = _SPAN_LOOKS[span.kind]
        axes.axvspan(span.from_s, span.to_s, facecolor="none", edgecolor=colour, hatch=hatch,
                     linewidth=0, alpha=alpha)  # fmt: skip
        room = span.to_s - span.from_s
        if span.kind == "hot air" and (len(span.kind) + _GAP) * _character_s(axes) <= room:
            axes.text((span.from_s + span.to_s) / 2, _SPAN_WORDS, span.kind, fontsize=8.5,
                      ha="center", va="bottom", transform=axes.get_xaxis_transform())  # fmt: skip


def make_room(axes: Axes, flags: Sequence[Flag]) -> float:
    """Leave room for the words above all curves; return the highest temperature below them."""
    low, high = axes.get_ylim()
    used = [row for row in _rows(axes, flags) if row is not None]
    if used:
        words = _TOP + _ROW * (max(used) + 1)
        axes.set_ylim(low, low + (high - low) / (1 - words))
    return high


def draw_flags(axes: Axes, flags: Sequence[Flag]) -> None:
    """Draw the lines, each up to its words."""
    rows = _rows(axes, flags)
    top_row = max((row for row in rows if row is not None), default=0)
    for flag, row in zip(flags, rows, strict=True):
        bottom = 1 - _TOP - _ROW * (top_row - (row or 0) + 1)
        axes.axvline(flag.at_s, ymax=bottom + (0 if row is None else 0.7 * _ROW), color=INK,
                     linewidth=FLAG_WIDTH, alpha=0.8)  # fmt: skip
        if row is not None:
            axes.annotate(_label(flag), xy=(flag.at_s, bottom + 0.1 * _ROW), xytext=(3, 0),
                          xycoords=axes.get_xaxis_transform(), textcoords="offset points",
                          ha="left", va="bottom", fontsize=8.5, annotation_clip=False)  # fmt: skip


def _rows(axes: Axes, flags: Sequence[Flag]) -> list[int | None]:
    widths = [(len(_label(flag)) + _GAP) * _character_s(axes) for flag in flags]
    return rows_for([flag.at_s for flag in flags], widths, MOST_ROWS)


def _character_s(axes: Axes) -> float:
    return _CHARACTER * axes.get_xlim()[1]


def _label(flag: Flag) -> str:
    return printable(flag.label, LABEL_CHARACTERS)
