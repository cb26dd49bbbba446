"""Write what happened when on paper, in two columns, on as many pages as it takes."""

from typing import NamedTuple

from emberbed.report.blocks import Log
from emberbed.report.paper import GUTTER, HALF, MARGIN, Look, Paper, wrapped

NUMBER, CLOCK, BOARD, WORDS = 12.0, 40.0, 68.0, 74.0  # right edges of the figures; words begin
_BETWEEN = 0.8  # points between two rows


class _Entry(NamedTuple):
    number: str
    clock: str
    board: str
    lines: list[str]
    height: float


def write_log(paper: Paper, block: Log) -> None:
    look = paper.looks.small
    if not block.entries:
        paper.line(MARGIN, "No events were stored.", look)
        paper.at += look.line
    left = [_entry(entry, look) for entry in block.entries]
    while left:
        paper.need(left[0].height)
        taken = _fitting(left, paper.room())
        columns = _halves(left[:taken])
        for column, part in enumerate(columns):
            _column(paper, part, MARGIN + column * (HALF + GUTTER))
        paper.at += max(map(_height, columns))
        left = left[taken:]


def _entry(entry: tuple[str, str, str, str], look: Look) -> _Entry:
    number, clock, board, sentence = entry
    lines = wrapped(sentence, look, HALF - WORDS)
    return _Entry(number, clock, board, lines, len(lines) * look.line + _BETWEEN)


def _height(part: list[_Entry]) -> float:
    return sum(entry.height for entry in part)


def _fitting(entries: list[_Entry], room: float) -> int:
    """Return how many of the first entries fit into two columns, one at least."""
    taken = 1
    while taken < len(entries) and max(map(_height, _halves(entries[: taken + 1]))) <= room:
        taken += 1
    return taken


def _halves(entries: list[_Entry]) -> tuple[list[_Entry], list[_Entry]]:
    """Cut in two so that the left column is the one that may be longer."""
    half, height = _height(entries) / 2, 0.0
    for number, entry in enumerate(entries, 1):
        height += entry.height
        if height >= half:
            return entries[:number], entries[number:]
    return entries, []


def _column(paper: Paper, part: list[_Entry], x: float) -> None:
    look, down = paper.looks.small, 0.0
    for entry in part:
        figures = (NUMBER, entry.number), (CLOCK, entry.clock), (BOARD, entry.board)
        for edge, figure in figures:
            paper.line(x + edge, figure, look, right=True, down=down)
        for row, line in enumerate(entry.lines):
            paper.line(x + WORDS, line, look, down=down + row * look.line)
        down += entry.height
