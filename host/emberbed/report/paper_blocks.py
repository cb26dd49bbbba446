"""Write a sheet of blocks on paper: each block as it looks best in black and white."""

from collections.abc import Sequence
from itertools import zip_longest
from pathlib import Path

import matplotlib as mpl
from matplotlib.figure import SubFigure
from matplotlib.text import Text

from emberbed.report.blocks import (
    Block,
    Drawing,
    Facts,
    Heading,
    Log,
    Photos,
    Points,
    Rows,
    Said,
    Sheet,
    Verdict,
)
from emberbed.report.chart import STYLE, draw_chart
from emberbed.report.paper import CONTENT, GUTTER, HALF, MARGIN, PAPER_STYLE, Look, Paper, wrapped
from emberbed.report.paper_log import write_log
from emberbed.store.faults import StoreError

ROOMY = 1.2  # times as large letters
PAD = 5.0
CHART_HEIGHT = 216.0
CHART_SCALE = 0.66  # of its letters, which are made for a picture of 10 inches
LINE_SCALE = 0.85
PHOTO_HEIGHT = 170.0
_NAME_WIDTH, _FACT_PAD = 104.0, 0.7
_FINGERPRINT = 64  # characters: a SHA-256 in hexadecimal


def write_paper(sheet: Sheet, path: Path) -> None:
    """Write `sheet` as a PDF. StoreError when the file cannot be written."""
    with mpl.rc_context({**STYLE, **PAPER_STYLE}):
        paper = Paper(ROOMY if sheet.roomy else 1.0)
        _lines(paper, wrapped(sheet.title, paper.looks.title, CONTENT), paper.looks.title)
        _lines(paper, wrapped(sheet.lead, paper.looks.lead, CONTENT), paper.looks.lead)
        paper.skip(4)
        for block in sheet.blocks:
            _WRITERS[type(block)](paper, block)
        try:
            paper.save(path, sheet.title, sheet.foot)
        except OSError as error:
            raise StoreError(
                f"{path} cannot be written ({error.strerror}): name another file"
            ) from error


def _lines(paper: Paper, lines: Sequence[str], look: Look, x: float = MARGIN) -> None:
    for line in lines:
        paper.need(look.line)
        paper.line(x, line, look)
        paper.at += look.line


def _heading(paper: Paper, block: Heading) -> None:
    paper.skip(6)
    paper.need(4 * paper.looks.heading.line)  # not alone at the foot of a page
    _lines(paper, [block.words], paper.looks.heading)
    paper.rule(0.8, 0)
    paper.at += 2


def _said(paper: Paper, block: Said) -> None:
    _lines(paper, wrapped(block.words, paper.looks.text, CONTENT), paper.looks.text)
    paper.at += 2


def _points(paper: Paper, block: Points) -> None:
    for line in block.lines:
        broken = wrapped(line, paper.looks.text, CONTENT - 10)
        paper.need(paper.looks.text.line * len(broken))
        paper.line(MARGIN, "–", paper.looks.text)
        _lines(paper, broken, paper.looks.text, MARGIN + 10)


def _verdict(paper: Paper, block: Verdict) -> None:
    inside = CONTENT - 2 * PAD - 4
    strong = wrapped(block.strong, paper.looks.strong, inside)
    lines = [line for told in block.lines for line in wrapped(told, paper.looks.text, inside)]
    height = paper.looks.strong.line * len(strong) + paper.looks.text.line * len(lines) + 2 * PAD
    paper.need(height)
    paper.frame(height, 1.6 if block.bad else 0.6)
    paper.at += PAD
    _lines(paper, strong, paper.looks.strong, MARGIN + PAD + 2)
    _lines(paper, lines, paper.looks.text, MARGIN + PAD + 2)
    paper.at += PAD + 6


def _drawing(paper: Paper, block: Drawing) -> None:
    paper.need(CHART_HEIGHT)
    part = paper.part(CHART_HEIGHT)
    draw_chart(part, block.chart)
    _shrink(part)
    paper.at += PAD  # the words of its time axis stand out below
    _lines(paper, wrapped(block.caption, paper.looks.small, CONTENT), paper.looks.small)


def _shrink(part: SubFigure) -> None:
    """Make letters and lines as small as the chart is here."""
    for axes in part.axes:
        for line in axes.lines:
            line.set_linewidth(line.get_linewidth() * LINE_SCALE)
    for text in part.findobj(Text):
        assert isinstance(text, Text)
        text.set_fontsize(float(text.get_fontsize()) * CHART_SCALE)
    for axes in part.axes:  # for those made later, too
        axes.tick_params(labelsize=CHART_SCALE * mpl.rcParams["font.size"])


def _rows(paper: Paper, block: Rows) -> None:
    if any(block.heads):
        _row(paper, block, block.heads, paper.looks.name)
        paper.rule(0.5, 0.3)
    for row in block.rows:
        _row(paper, block, row, paper.looks.text)
        paper.rule(0.3, 0.75)


def _row(paper: Paper, block: Rows, cells: Sequence[str], look: Look) -> None:
    widths = [CONTENT * share for share in block.shares]
    broken = [wrapped(cell, look, width - 6) for cell, width in zip(cells, widths, strict=True)]
    height = max(map(len, broken)) * look.line + 1.6
    paper.need(height)
    x = MARGIN
    for lines, width in zip(broken, widths, strict=True):
        for number, line in enumerate(lines):
            paper.line(x, line, look, down=0.8 + number * look.line)
        x += width
    paper.at += height


def _facts(paper: Paper, block: Facts) -> None:
    """Write named facts in two columns; fingerprints go over the whole width."""
    long = [pair for pair in block.pairs if len(pair[1]) >= _FINGERPRINT]
    short = [pair for pair in block.pairs if pair not in long]
    half = (len(short) + 1) // 2
    for pairs in zip_longest(short[:half], short[half:]):
        _fact_row(paper, [pair for pair in pairs if pair], HALF)
        paper.rule(0.3, 0.75)
    for pair in long:
        _fact_row(paper, [pair], CONTENT)
    paper.at += 3


def _fact_row(paper: Paper, pairs: Sequence[tuple[str, str]], width: float) -> None:
    text, name = paper.looks.text, paper.looks.name
    broken = [wrapped(said, text, width - _NAME_WIDTH) for _name, said in pairs]
    height = max(map(len, broken)) * text.line + 2 * _FACT_PAD
    paper.need(height)
    for column, ((told, _said), lines) in enumerate(zip(pairs, broken, strict=True)):
        x = MARGIN + column * (width + GUTTER)
        paper.line(x, told, name, down=_FACT_PAD)
        for number, line in enumerate(lines):
            paper.line(x + _NAME_WIDTH, line, text, down=_FACT_PAD + number * text.line)
    paper.at += height


def _photos(paper: Paper, block: Photos) -> None:
    width = HALF
    sizes = []
    for _caption, photo in block.shown:
        scale = min(width / photo.width, PHOTO_HEIGHT / photo.height)
        sizes.append((photo.width * scale, photo.height * scale))
    height = max(size[1] for size in sizes)
    paper.need(height + paper.looks.text.line)
    for column, ((caption, photo), size) in enumerate(zip(block.shown, sizes, strict=True)):
        x = MARGIN + column * (width + GUTTER)
        paper.picture(photo.image(), x, *size)
        paper.line(x, caption, paper.looks.text, down=height + 2)
    paper.at += height + paper.looks.text.line + 4


_WRITERS = {
    Heading: _heading, Said: _said, Verdict: _verdict, Points: _points, Facts: _facts,
    Rows: _rows, Log: write_log, Drawing: _drawing, Photos: _photos,
}  # fmt: skip
assert set(_WRITERS) == set(Block.__args__)
