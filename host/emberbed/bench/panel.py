"""The live panel in a terminal: how hot, what it does, what it waits for, may I touch it.

Takes decoded records and the events of the story; draws with rich, at most 8 times a second. Every
part has its fixed height, so nothing jumps but for an alarm, which is shown whole, and a terminal
that is too short for all of it (`panel_fit`).
"""

import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress

from rich.console import Console, Group
from rich.live import Live
from rich.markup import escape
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from emberbed.bench import panel_rows
from emberbed.bench.bell import ring
from emberbed.bench.block_curve import AXIS, DOT, IN_ASCII, Pair, block_curve
from emberbed.bench.calls import call_of
from emberbed.bench.key_table import hints as all_hints
from emberbed.bench.panel_fit import EVENT_ROWS, fit, kept
from emberbed.bench.panel_keys import keys_of, lines_of
from emberbed.bench.progress import Progress
from emberbed.bench.story import Story
from emberbed.records import TickRecord
from emberbed.report.ending import LEFT
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import TICKS_PER_S

REDRAW_S = 0.125
MOST_CURVE_COLUMNS = 100
FRAME = 4  # columns of the panel's border and padding
BORDER = 2  # lines of it
CLOCK = 9  # columns of an event's time
LOUD = ("trip", "prompt", "press", "stop", LEFT, "link", "refused", "gap", "refusal", "unproven")
ALARMS = ("trip", "link")
CALL = "bold black on yellow"
SOON = "bold yellow"


class LivePanel:
    """Redraws itself while records come in; use it in a `with`.

    `stops` counts Ctrl-C, `hints` gives the keys that do something now, `title_of` the title of a
    run that goes on with the first.
    """

    def __init__(
        self,
        console: Console,
        story: Story,
        title: str,
        *,
        virtual: bool = False,
        quiet: bool = False,
        stops: Callable[[], int] = lambda: 0,
        hints: Callable[[Progress], list[str]] = all_hints,
        title_of: Callable[[int], str] = str,
    ) -> None:
        self._console = console
        self._story = story
        self._title = title
        self._control: int = story.plan.header["control0"]
        self._virtual = virtual
        self._quiet = quiet
        self._stops = stops
        self._hints = hints
        self._title_of = title_of
        self._record: TickRecord | None = None
        self._events: deque[tuple[int | None, str, str]] = deque(maxlen=EVENT_ROWS)
        self._alarm = ""
        self._curve: list[Pair] = []
        self._curve_second = 0  # of the device: when the newest sample was taken
        self._curve_began = 0
        self._drawn_s = 0.0
        self._live = Live(console=console, auto_refresh=False, transient=False)

    def __enter__(self) -> "LivePanel":
        self._live.__enter__()
        return self

    def __exit__(self, *_error: object) -> None:
        self._draw()
        with suppress(OSError):
            self._live.__exit__(None, None, None)

    def show(self, record: TickRecord) -> None:
        self._sample(record)
        self._record = record
        if time.monotonic() - self._drawn_s >= REDRAW_S:
            self._draw()

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        self._events.append((tick, kind, sentence))
        if kind in ALARMS:
            self._alarm = self._alarm or sentence  # the first is the cause
        if self._record is not None:
            self._draw()
        if not self._quiet:
            ring(self._console, kind)

    def turn_over(self, run_id: int) -> None:
        """Show the run that goes on with this one."""
        self._title = self._title_of(run_id)
        self._alarm = ""
        self._events.clear()
        self._curve.clear()

    def _sample(self, record: TickRecord) -> None:
        """Keep one pair a second from the first heat on."""
        second = record.tick // TICKS_PER_S
        if not self._curve:
            if record.state not in rs.HEATING_STATES:
                return
            self._curve_began = self._story.seconds_of(record.tick)
            self._curve_second = second - 1
        pair = (record.channel_cdeg(self._control), record.asked_cdeg())
        self._curve += [pair] * (second - self._curve_second)
        self._curve_second = second

    def _draw(self) -> None:
        self._drawn_s = time.monotonic()
        if self._record is None:
            return
        newest = self._story.progress.newest or self._record
        try:
            self._live.update(self.panel(newest), refresh=True)
        except OSError:  # the terminal is gone; the run stays
            self._console.quiet = True

    def panel(self, record: TickRecord) -> Panel:
        """Return the panel for `record`, as wide as the console and no higher."""
        banner = self._banner(record)
        banner_lines = len(banner.wrap(self._console, self._columns))
        parts = fit(self._console.height - BORDER - banner_lines)
        shown = [banner, self._rows(record, parts.rows)]
        if parts.curve:
            shown.append(self._drawn_curve(parts.curve))
        if parts.events:
            shown.append(self._told(parts.events))
        if parts.keys:
            shown.append(self._keys(parts.keys))
        keys = keys_of(record, self._story.progress, self._virtual, self._stops())
        return Panel(
            Group(*shown),
            title=escape(f"{self._story.run_clock(record.tick)} · {self._title}"),
            subtitle=escape(keys),
            border_style="red" if record.trip != NO_TRIP else "none",
        )

    def _banner(self, record: TickRecord) -> Text:
        if self._alarm and record.prompt != GO_ON_PROMPT:
            return Text(self._alarm, style=panel_rows.ALARM)
        call = call_of(self._story.progress, self._story.prompts, self._story.names)
        if call is None:
            return Text(" ")
        style = panel_rows.ALARM if call.urgent else CALL if call.needed else SOON
        return Text(f"  {call.text}  ", style=style)

    def _keys(self, rows: int) -> Text:
        lines = lines_of(self._hints(self._story.progress), self._columns, rows)
        return Text("\n".join(lines), style="dim", no_wrap=True, overflow="ellipsis")

    @property
    def _columns(self) -> int:
        return max(1, self._console.width - FRAME)

    def _rows(self, record: TickRecord, most: int) -> Table:
        rows = Table.grid(padding=(0, 2), expand=True)
        rows.add_column(justify="right", style="dim", width=7)
        rows.add_column(ratio=1, no_wrap=True, overflow="ellipsis")
        for label, text in panel_rows.rows_of(record, self._story):
            if kept(label, most):
                rows.add_row(label, self._drawable(text))
        return rows

    def _drawn_curve(self, rows: int) -> Text:
        columns = min(self._columns - AXIS, MOST_CURVE_COLUMNS)
        drawn = block_curve(self._curve, max(columns, 1), rows, self._curve_began)
        text = Text(drawn, style="cyan", no_wrap=True, overflow="crop")
        text.highlight_regex(f"{DOT}+", "yellow")
        return self._drawable(text)

    def _drawable(self, text: Text) -> Text:
        if self._console.options.ascii_only:
            text.plain = text.plain.translate(IN_ASCII)  # same length: the colours keep their place
        return text

    def _told(self, rows: int) -> Text:
        """Return the newest events in `rows` lines: the newest wrapped, those before it cut."""
        lines: list[Text] = []
        for tick, kind, sentence in reversed(self._events):
            told = Text(sentence, style="bold" if kind in LOUD else "")
            pieces = [told] if lines else list(told.wrap(self._console, self._columns - CLOCK))
            clocks = [f"{self._story.clock(tick)}  ", *[" " * CLOCK] * (len(pieces) - 1)]
            room = rows - len(lines)
            lines = [
                Text.assemble((clock, "dim"), piece)
                for clock, piece in zip(clocks, pieces, strict=True)
            ][:room] + lines
        lines += [Text()] * (rows - len(lines))
        text = Text("\n", no_wrap=True, overflow="ellipsis").join(lines)
        text.no_wrap, text.overflow = True, "ellipsis"
        return text
