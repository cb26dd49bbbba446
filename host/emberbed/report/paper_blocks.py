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
from emberbed.report.chart import SIZE_INCHES, STYLE, draw_chart
from emberbed.report.paper import CONTENT, MARGIN, PAPER_STYLE, Look, Paper, wrapped
from emberbed.store.faults import StoreError

TITLE, LEAD = Look(14, bold=True), Look(8, grey=0.25)
HEADING, STRONG = Look(8.5, bold=True), Look(9.5, bold=True)
TEXT, SMALL, NAME = Look(7.6), Look(6.8), Look(7.2, grey=0.25)
CODE = Look(5.6, mono=True)
PAD = 5.0
CHART_HEIGHT = 236.0
CHART_SCALE = 0.66  # of its letters and lines, which are made for SIZE_INCHES
PHOTO_HEIGHT = 170.0
GUTTER = 14.0
_FINGERPRINT = 64  # characters: a SHA-256 in hexadecimal


def write_paper(sheet: Sheet, path: Path) -> None:
    """Write `sheet` as a PDF. StoreError when the file cannot be written."""
    with mpl.rc_context({**STYLE, **PAPER_STYLE}):
        paper = Paper()
        _lines(paper, wrapped(sheet.title, TITLE, CONTENT), TITLE)
        _lines(paper, wrapped(sheet.lead, LEAD, CONTENT), LEAD)
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
    paper.need(4 * HEADING.line)  # not alone at the foot of a page
    _lines(paper, [block.words], HEADING)
    paper.rule(0.8, 0)
    paper.at += 2


def _said(paper: Paper, block: Said) -> None:
    _lines(paper, wrapped(block.words, TEXT, CONTENT), TEXT)
    paper.at += 2


def _points(paper: Paper, block: Points) -> None:
    for line in block.lines:
        broken = wrapped(line, TEXT, CONTENT - 10)
        paper.need(TEXT.line * len(broken))
        paper.line(MARGIN, "–", TEXT)
        _lines(paper, broken, TEXT, MARGIN + 10)


def _verdict(paper: Paper, block: Verdict) -> None:
    inside = CONTENT - 2 * PAD - 4
    strong = wrapped(block.strong, STRONG, inside)
    lines = [line for told in block.lines for line in wrapped(told, TEXT, inside)]
    height = STRONG.line * len(strong) + TEXT.line * len(lines) + 2 * PAD
    paper.need(height)
    paper.frame(height, 1.6 if block.bad else 0.6)
    paper.at += PAD
    _lines(paper, strong, STRONG, MARGIN + PAD + 2)
    _lines(paper, lines, TEXT, MARGIN + PAD + 2)
    paper.at += PAD + 4


def _drawing(paper: Paper, block: Drawing) -> None:
    paper.need(CHART_HEIGHT)
    part = paper.part(CHART_HEIGHT)
    draw_chart(part, block.chart)
    _shrink(part)
    _lines(paper, wrapped(block.caption, SMALL, CONTENT), SMALL)


def _shrink(part: SubFigure) -> None:
    """Make letters and lines as small as the chart is here."""
    assert CHART_SCALE > CONTENT / 72 / SIZE_INCHES[0] * 0.9
    for axes in part.axes:
        axes.tick_params(labelsize=CHART_SCALE * mpl.rcParams["font.size"])
        for line in axes.lines:
            line.set_linewidth(line.get_linewidth() * 0.85)
    for text in part.findobj(Text):
        assert isinstance(text, Text)
        text.set_fontsize(text.get_fontsize() * CHART_SCALE)


def _rows(paper: Paper, block: Rows) -> None:
    if any(block.heads):
        _row(paper, block, block.heads, NAME)
        paper.rule(0.5, 0.3)
    for row in block.rows:
        _row(paper, block, row, TEXT)
        paper.rule(0.3, 0.75)


def _row(paper: Paper, block: Rows, cells: Sequence[str], look: Look) -> None:
    widths = [CONTENT * share for share in block.shares]
    broken = [wrapped(cell, look, width - 6) for cell, width in zip(cells, widths, strict=True)]
    height = max(map(len, broken)) * look.line + 1.6
    paper.need(height)
    x = MARGIN
    for column, (lines, width) in enumerate(zip(broken, widths, strict=True)):
        right = block.is_number(column)
        for number, line in enumerate(lines):
            at = x + width - 6 if right else x
            paper.line(at, line, look, right, down=0.8 + number * look.line)
        x += width
    paper.at += height


def _facts(paper: Paper, block: Facts) -> None:
    """Write named facts in two columns; fingerprints go over the whole width."""
    long = [pair for pair in block.pairs if len(pair[1]) >= _FINGERPRINT]
    short = [pair for pair in block.pairs if pair not in long]
    half = (len(short) + 1) // 2
    width = (CONTENT - GUTTER) / 2
    for pairs in zip_longest(short[:half], short[half:]):
        told = [_fact(pair, width) for pair in pairs if pair]
        height = max(len(lines) for _name, lines in told) * TEXT.line + 1.4
        paper.need(height)
        for column, (name, lines) in enumerate(told):
            x = MARGIN + column * (width + GUTTER)
            paper.line(x, name, NAME, down=0.7)
            for number, line in enumerate(lines):
                paper.line(x + _NAME_WIDTH, line, TEXT, down=0.7 + number * TEXT.line)
        paper.at += height
        paper.rule(0.3, 0.75)
    for name, said in long:
        paper.need(TEXT.line)
        paper.line(MARGIN, name, NAME)
        _lines(paper, wrapped(said, TEXT, CONTENT - _NAME_WIDTH), TEXT, MARGIN + _NAME_WIDTH)


_NAME_WIDTH = 104.0


def _fact(pair: tuple[str, str], width: float) -> tuple[str, list[str]]:
    return pair[0], wrapped(pair[1], TEXT, width - _NAME_WIDTH)


def _log(paper: Paper, block: Log) -> None:
    """Write what happened in two columns, as many rows on a page as fit."""
    if not block.entries:
        _said(paper, Said("No events were stored."))
        return
    width = (CONTENT - GUTTER) / 2
    entries = [(entry, wrapped(entry[3], SMALL, width - _LOG_WORDS)) for entry in block.entries]
    while entries:
        paper.need(3 * SMALL.line)
        room = paper.room()
        taken = _fitting(entries, room)
        columns = _halves(entries[:taken])
        for column, part in enumerate(columns):
            _log_column(paper, part, MARGIN + column * (width + GUTTER))
        paper.at += max(sum(map(_log_height, part)) for part in columns)
        entries = entries[taken:]
        if entries:
            paper.need(room + 1)


_LOG_WORDS = 74.0
_Entry = tuple[tuple[str, str, str, str], list[str]]


def _log_height(entry: _Entry) -> float:
    return len(entry[1]) * SMALL.line + 0.8


def _fitting(entries: list[_Entry], room: float) -> int:
    """Return how many of the first entries fit into two columns, one at least."""
    taken = 1
    while taken < len(entries):
        parts = _halves(entries[: taken + 1])
        if max(sum(map(_log_height, part)) for part in parts) > room:
            break
        taken += 1
    return taken


def _halves(entries: list[_Entry]) -> tuple[list[_Entry], list[_Entry]]:
    """Cut in two so that the left column is the one that may be longer."""
    half, height = sum(map(_log_height, entries)) / 2, 0.0
    for number, entry in enumerate(entries, 1):
        height += _log_height(entry)
        if height >= half:
            return entries[:number], entries[number:]
    return entries, []


def _log_column(paper: Paper, part: list[_Entry], x: float) -> None:
    down = 0.0
    for entry, lines in part:
        number, clock, board, _sentence = entry
        paper.line(x + 12, number, SMALL, right=True, down=down)
        paper.line(x + 40, clock, SMALL, right=True, down=down)
        paper.line(x + 68, board, SMALL, right=True, down=down)
        for row, line in enumerate(lines):
            paper.line(x + _LOG_WORDS, line, SMALL, down=down + row * SMALL.line)
        down += _log_height((entry, lines))


def _photos(paper: Paper, block: Photos) -> None:
    width = (CONTENT - GUTTER) / 2
    sizes = []
    for _caption, photo in block.shown:
        scale = min(width / photo.width, PHOTO_HEIGHT / photo.height)
        sizes.append((photo.width * scale, photo.height * scale))
    height = max(size[1] for size in sizes)
    paper.need(height + TEXT.line)
    for column, ((caption, photo), size) in enumerate(zip(block.shown, sizes, strict=True)):
        x = MARGIN + column * (width + GUTTER)
        paper.picture(photo.image(), x, *size)
        paper.line(x, caption, TEXT, down=height + 2)
    paper.at += height + TEXT.line + 4


_WRITERS = {
    Heading: _heading, Said: _said, Verdict: _verdict, Points: _points, Facts: _facts,
    Rows: _rows, Log: _log, Drawing: _drawing, Photos: _photos,
}  # fmt: skip
assert set(_WRITERS) == set(Block.__args__)
