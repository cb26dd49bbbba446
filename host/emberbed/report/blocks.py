"""What a sheet for people is made of, whatever it is written on: plain text, tables, pictures.

Nothing here is HTML or ink: `html_blocks` makes a web page of blocks, `paper_blocks` paper. Text
from outside stays as it came; who writes it makes it safe.
"""

from dataclasses import dataclass

from emberbed.report.chart_model import Chart
from emberbed.report.photos import Photo


@dataclass(frozen=True)
class Heading:
    words: str


@dataclass(frozen=True)
class Said:
    """A paragraph."""

    words: str


@dataclass(frozen=True)
class Verdict:
    """What must be read first: one strong sentence in a frame, and what belongs to it."""

    strong: str
    lines: tuple[str, ...] = ()
    bad: bool = False


@dataclass(frozen=True)
class Points:
    """Sentences of equal weight, each on its own."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    """Named facts."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Rows:
    """A table; `shares` of the width by column."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]


@dataclass(frozen=True)
class Log:
    """What happened when: (number, time, temperature, sentence) each; '' for none."""

    entries: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True)
class Drawing:
    """A chart; its caption says what the lines are."""

    chart: Chart
    caption: str


@dataclass(frozen=True)
class Photos:
    """Photographs side by side, each with its caption."""

    shown: tuple[tuple[str, Photo], ...]


Block = Heading | Said | Verdict | Points | Facts | Rows | Log | Drawing | Photos


@dataclass(frozen=True)
class Sheet:
    """A whole one; `foot` stands at the foot of every page of paper, `roomy` asks for larger
    letters there."""

    title: str
    lead: str
    blocks: tuple[Block, ...]
    foot: str
    roomy: bool = False
