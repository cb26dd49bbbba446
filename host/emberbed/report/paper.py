"""A4 pages to write on from top to bottom, as one PDF: words, rules, frames, charts, photographs.

All lengths are points (1/72 inch). A new page begins where there is no room. Black on white with
greys only where nothing is lost without them; the fonts are matplotlib's own and travel inside the
file. Letters that its font lacks are told by `missing_letters`.
"""

import warnings
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
from matplotlib.figure import Figure, SubFigure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from PIL import Image

WIDTH, HEIGHT = 595.28, 841.89  # A4, ISO 216: 210 x 297 mm
MARGIN = 40.0
TOP, BOTTOM = 32.0, 38.0
CONTENT = WIDTH - 2 * MARGIN
GUTTER = 14.0  # between two columns
HALF = (CONTENT - GUTTER) / 2
LINE = 1.28  # height of a line in sizes of its letters
_POINTS_PER_INCH = 72
_FINE = 10  # the measuring hand works this much larger, so that it does not round
_ASCENT = 0.93  # of the letters' size, from the top of a line to where letters stand
PAPER_STYLE: dict[Any, Any] = {
    "pdf.fonttype": 42,  # whole letters: the text can be searched and copied
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],  # comes with matplotlib, alike everywhere
    "font.monospace": ["DejaVu Sans Mono"],
    "text.parse_math": False,
}


class Look(NamedTuple):
    """How words look; `size` in points, `grey` 0 is black."""

    size: float
    bold: bool = False
    mono: bool = False
    grey: float = 0.0

    @property
    def line(self) -> float:
        return self.size * LINE

    def font(self) -> FontProperties:
        family = PAPER_STYLE["font.monospace" if self.mono else "font.sans-serif"]
        return FontProperties(family=family, weight="bold" if self.bold else "normal")


class Looks(NamedTuple):
    """The looks of a sheet."""

    title: Look
    lead: Look
    heading: Look
    strong: Look
    text: Look
    small: Look
    name: Look


_LOOKS = Looks(
    title=Look(14, bold=True), lead=Look(8, grey=0.25), heading=Look(8.5, bold=True),
    strong=Look(9.5, bold=True), text=Look(7.6), small=Look(6.8), name=Look(7.2, grey=0.25),
)  # fmt: skip


class Paper:
    """Pages being written; `at` is how far down the last one is filled. `scale`: of the letters."""

    def __init__(self, scale: float = 1.0) -> None:
        self.looks = Looks._make(look._replace(size=look.size * scale) for look in _LOOKS)
        self._pages: list[Figure] = []
        self._turn()

    def _turn(self) -> None:
        page = Figure(figsize=(WIDTH / _POINTS_PER_INCH, HEIGHT / _POINTS_PER_INCH))
        FigureCanvasPdf(page)
        self._pages.append(page)
        self.at = TOP

    @property
    def page(self) -> Figure:
        return self._pages[-1]

    def need(self, height: float) -> bool:
        """Begin a new page unless `height` is left on this one; tell whether one was begun."""
        if self.at + height <= HEIGHT - BOTTOM or self.at == TOP:
            return False
        self._turn()
        return True

    def room(self) -> float:
        """Return what is left of this page."""
        return HEIGHT - BOTTOM - self.at

    def skip(self, height: float) -> None:
        """Leave room, but not at the head of a page."""
        if self.at > TOP:
            self.at += height

    def line(self, x: float, words: str, look: Look, right: bool = False, down: float = 0) -> None:
        """Write one line at `x`, or up to it, `down` below where the page is filled."""
        self._write(self.page, x, self.at + down, words, look, right)

    def rule(self, width: float = 0.5, grey: float = 0.6, down: float = 0) -> None:
        y = 1 - (self.at + down) / HEIGHT
        ends = [MARGIN / WIDTH, (MARGIN + CONTENT) / WIDTH]
        self.page.add_artist(Line2D(ends, [y, y], linewidth=width, color=str(grey)))

    def frame(self, height: float, width: float) -> None:
        """Draw a frame with lines of `width` from here down."""
        corner = MARGIN / WIDTH, 1 - (self.at + height) / HEIGHT
        self.page.add_artist(
            Rectangle(corner, CONTENT / WIDTH, height / HEIGHT, fill=False, linewidth=width)
        )

    def part(self, height: float) -> SubFigure:
        """Return the next `height` over the whole width to draw on."""
        across = [MARGIN, CONTENT, MARGIN]
        along = [self.at, height, HEIGHT - self.at - height]
        grid = self.page.add_gridspec(3, 3, width_ratios=across, height_ratios=along, wspace=0,
                                      hspace=0, left=0, right=1, top=1, bottom=0)  # fmt: skip
        self.at += height
        return self.page.add_subfigure(grid[1, 1])

    def picture(self, image: Image.Image, x: float, width: float, height: float) -> None:
        """Put a photograph here; where the page is filled to stays as it is."""
        place = (x / WIDTH, 1 - (self.at + height) / HEIGHT, width / WIDTH, height / HEIGHT)
        axes = self.page.add_axes(place)
        axes.imshow(np.asarray(image), interpolation="none", aspect="auto")
        axes.set_axis_off()

    def save(self, path: Path, title: str, foot: str) -> None:
        """Write the pages with `foot` and their numbers. Raises OSError."""
        count = len(self._pages)
        look = Look(7, grey=0.25)
        for number, page in enumerate(self._pages, 1):
            y = HEIGHT - BOTTOM + 12
            self._write(page, MARGIN, y, foot, look, False)
            self._write(page, MARGIN + CONTENT, y, f"page {number} of {count}", look, True)
        told = {"Title": title, "Creator": "emberbed", "Producer": None, "CreationDate": None}
        with warnings.catch_warnings(), PdfPages(path, metadata=told) as pdf:
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            for page in self._pages:
                pdf.savefig(page)

    @staticmethod
    def _write(page: Figure, x: float, y: float, words: str, look: Look, right: bool) -> None:
        page.text(
            x / WIDTH, 1 - (y + _ASCENT * look.size) / HEIGHT, words, ha="right" if right else
            "left", va="baseline", fontsize=look.size, fontproperties=look.font(),
            color=str(look.grey),
        ).set_fontsize(look.size)  # fmt: skip


def width_of(words: str, look: Look) -> float:
    """Return how wide `words` are in one line."""
    return _drawn_width(words, look.bold, look.mono) * look.size


@cache
def _hand() -> RendererAgg:
    return RendererAgg(1, 1, _POINTS_PER_INCH * _FINE)


@cache
def _drawn_width(words: str, bold: bool, mono: bool) -> float:
    font = Look(_FINE, bold, mono).font()
    font.set_size(_FINE)
    with warnings.catch_warnings(), mpl.rc_context(PAPER_STYLE):
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        width, _height, _descent = _hand().get_text_width_height_descent(words, font, False)
    return width / _FINE / _FINE


def wrapped(words: str, look: Look, width: float) -> list[str]:
    """Break `words` into lines of at most `width`, inside a word where it is longer than that; a
    figure keeps its unit."""
    lines, line = [], ""
    for word in words.replace(" °C", "\N{NO-BREAK SPACE}°C").split(" "):
        for piece in _pieces(word, look, width):
            longer = f"{line} {piece}" if line else piece
            if line and width_of(longer, look) > width:
                lines.append(line)
                longer = piece
            line = longer
    return [*lines, line]


def _pieces(word: str, look: Look, width: float) -> Iterable[str]:
    while width_of(word, look) > width and len(word) > 1:
        cut = len(word) - 1
        while cut > 1 and width_of(word[:cut], look) > width:
            cut -= 1
        yield word[:cut]
        word = word[cut:]
    yield word


def missing_letters(words: str) -> str:
    """Return the letters of `words` that the paper's font does not have, each once."""
    known = get_font(findfont(Look(_FINE).font())).get_charmap()
    return "".join(letter for letter in dict.fromkeys(words) if ord(letter) not in known)
