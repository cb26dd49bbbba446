"""The live panel in a terminal: how hot, what it does, what it waits for, may I touch it.

Takes decoded records and the events of the story; draws with rich, at most 8 times a second. Where
the output is no terminal it writes one plain line per event instead.
"""

import time
from collections import deque

from rich.console import Console, Group
from rich.live import Live
from rich.markup import escape
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from emberbed import words
from emberbed.bench.block_curve import block_curve
from emberbed.bench.stage_text import degrees, left_text, stage_text
from emberbed.bench.story import Story, prompt_text
from emberbed.records import TickRecord
from emberbed_fw import record as layout
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import FULL_POWER_Q15, NO_READING_CDEG, NONE, TICKS_PER_S

REDRAW_S = 0.125
BARE_HANDS_CDEG = 4300  # ISO 13732-1 table 1, any material for 8 h or more; from memory
KEPT_EVENTS = 4
LOUD = ("trip", "prompt", "stop", "link", "refused", "gap")


class PlainLines:
    """One line per event, for pipes and files."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def __enter__(self) -> "PlainLines":
        return self

    def __exit__(self, *_error: object) -> None:
        pass

    def show(self, record: TickRecord) -> None:
        pass

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        self._console.print(f"{_clock(tick)}  {escape(sentence)}", highlight=False, soft_wrap=True)


class LivePanel:
    """Redraws itself while records come in; use it in a `with`."""

    def __init__(
        self, console: Console, story: Story, title: str, control: int, virtual: bool
    ) -> None:
        self._story = story
        self._title = title
        self._control = control
        self._virtual = virtual
        self._record: TickRecord | None = None
        self._events: deque[tuple[int | None, str, str]] = deque(maxlen=KEPT_EVENTS)
        self._curve: list[tuple[int | None, int | None]] = []
        self._drawn_s = 0.0
        self._live = Live(console=console, auto_refresh=False, transient=False)

    def __enter__(self) -> "LivePanel":
        self._live.__enter__()
        return self

    def __exit__(self, *error: object) -> None:
        self._draw()
        self._live.__exit__(None, None, None)

    def show(self, record: TickRecord) -> None:
        if record.tick % TICKS_PER_S == 0 and self._story.armed:
            asked = record.setpoint_cdeg
            self._curve.append(
                (record.channel_cdeg(self._control), None if asked == NO_READING_CDEG else asked)
            )
        self._record = record
        if time.monotonic() - self._drawn_s >= REDRAW_S:
            self._draw()

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        self._events.append((tick, kind, sentence))
        if self._record is not None:
            self._draw()

    def _draw(self) -> None:
        self._drawn_s = time.monotonic()
        if self._record is not None:
            self._live.update(self._panel(self._record), refresh=True)

    def _panel(self, record: TickRecord) -> Panel:
        rows = Table.grid(padding=(0, 2), expand=True)
        rows.add_column(justify="right", style="dim", width=11)
        rows.add_column(ratio=1)
        for label, text in self._rows(record):
            rows.add_row(label, text)
        curve = block_curve(self._curve, columns=66, rows=5)
        parts = [self._banner(record), rows, Text(curve, style="cyan"), self._told()]
        return Panel(
            Group(*[part for part in parts if part is not None]),
            title=escape(self._title),
            subtitle=escape(self._keys(record)),
            border_style="red" if record.trip != NO_TRIP else "none",
        )

    def _rows(self, record: TickRecord) -> list[tuple[str, Text]]:
        return [
            ("Board", self._board(record)),
            ("Now", self._now(record)),
            ("Waits for", Text(words.wait_words(record.waits_for) or "nothing")),
            ("Next", Text(self._next(record))),
            ("Heater", self._heater(record)),
            ("Touch", self._touch(record)),
        ]

    def _board(self, record: TickRecord) -> Text:
        text = Text(degrees(record.channel_cdeg(self._control)), style="bold")
        if record.setpoint_cdeg != NO_READING_CDEG:
            text.append(f"   asked for {degrees(record.setpoint_cdeg)}", style="not bold")
        for channel, name in self._story.names.items():
            if channel != self._control:
                text.append(f"   {name} {degrees(record.channel_cdeg(channel))}", style="dim")
        return text

    def _now(self, record: TickRecord) -> Text:
        plan = self._story.plan
        if record.stage == NONE:
            return Text(words.state_words(record.state))
        number = f"stage {record.stage + 1} of {len(plan.stages)}"
        doing = stage_text(plan, record.stage, self._story.prompts)
        left = left_text(plan, record)
        return Text(f"{number}: {doing}" + (f"   {left}" if left else ""))

    def _next(self, record: TickRecord) -> str:
        following = 0 if record.stage == NONE else record.stage + 1
        if record.verdict != rs.NO_VERDICT:
            return "touch when cool, then look at the run's page"
        if following >= len(self._story.plan.stages):
            return "end of the run"
        return stage_text(self._story.plan, following, self._story.prompts)

    def _heater(self, record: TickRecord) -> Text:
        percent = 100 * record.demand0_q15 / FULL_POWER_Q15
        bar = "■" * round(percent / 5)
        text = Text(f"{percent:3.0f} % ")
        text.append(f"{bar:·<20}", style="yellow")
        text.append(f"   {record.energy_j / 3600:.0f} Wh so far", style="dim")
        if record.outputs & layout.OUT_FAN:
            text.append("   fan on")
        return text

    def _touch(self, record: TickRecord) -> Text:
        known = [reading for reading in record.channels_cdeg() if reading is not None]
        if not known or max(known) >= HANDLING_CDEG:
            return Text("no: leave it alone", style="bold red")
        if max(known) >= BARE_HANDS_CDEG:
            return Text("tools only; the heater below stays hot longer", style="yellow")
        return Text("yes; the heater below stays hot longer", style="green")

    def _banner(self, record: TickRecord) -> Text | None:
        if record.prompt != NONE:
            asked = prompt_text(record.prompt, self._story.prompts)
            return Text(f"  {asked}: board {degrees(record.channel_cdeg(self._control))}",
                        style="bold black on yellow")  # fmt: skip
        if record.waits_for in (rs.WAITS_PRESS, rs.WAITS_RELEASE):
            return Text("  Hold the button on the device for a second to start heating",
                        style="bold black on yellow")  # fmt: skip
        return None

    def _told(self) -> Text:
        text = Text()
        for tick, kind, sentence in self._events:
            text.append(f"{_clock(tick)}  ", style="dim")
            text.append(f"{sentence}\n", style="bold" if kind in LOUD else "")
        text.rstrip()
        return text

    def _keys(self, record: TickRecord) -> str:
        keys = []
        if record.prompt != NONE:
            keys.append("Enter: done")
        if self._virtual and record.state == rs.COLD_PROOF:
            keys.append("B: hold the virtual device's button")
        cooling = record.verdict != rs.NO_VERDICT
        keys.append("Ctrl-C: leave, heat stays off" if cooling else "Ctrl-C: heat off")
        return "   ".join(keys)


def _clock(tick: int | None) -> str:
    if tick is None:
        return "  --:--"
    minutes, seconds = divmod(tick // TICKS_PER_S, 60)
    return f"{minutes:4d}:{seconds:02d}"
