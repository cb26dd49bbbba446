"""The PC link broke while a run was on: connect again, and tell what the heat did meanwhile.

The device takes the heat away by itself and keeps what it measures. `come_back` tries until the
device is there again, the person leaves, or it is too late; the records that were missed come by
themselves then, and `follow` makes a sentence of them. Nothing here heats: going on takes a press.
"""

import time
from collections.abc import Callable

from emberbed.bench.ledger import Ledger
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.requests import ALONE, left_text
from emberbed.bench.stage_text import degrees
from emberbed.bench.story import Story
from emberbed.link.blocks import block_crc
from emberbed.link.device import Device, Refused
from emberbed.link.events import Greeting
from emberbed.link.transport import LinkError
from emberbed.records import TickRecord
from emberbed.report.ending import LEFT
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_MIN, TICKS_PER_S

TRIES_FOR_S = 1800.0  # a board is cool by then
TRY_S = 2.0  # for an answer
PAUSE_S = 0.5  # between two tries


def holds(greeting: Greeting, plan: bytes, next_tick: int) -> bool:
    """Tell whether a device still is in the run whose record ends before this tick."""
    armed = 0 < greeting.run_tick < next_tick <= greeting.newest_tick + 1
    return armed and greeting.plan_crc == block_crc(plan)


class Absence:
    """Watches over one link; `why_gone` may know better than a broken link, None: it does not."""

    def __init__(
        self,
        device: Device,
        ledger: Ledger,
        story: Story,
        stops: Callable[[], int],
        why_gone: Callable[[], str | None],
        tell: Callable[[str, str], None],  # kind, sentence
    ) -> None:
        self._device = device
        self._ledger = ledger
        self._story = story
        self._stops = stops
        self._why_gone = why_gone
        self._tell = tell
        self._meanwhile: Meanwhile | None = None

    def come_back(self, error: LinkError, newest: TickRecord | None, plan: bytes) -> bool:
        """Return once the device is there again, False when it will not be; both are told."""
        if newest is None:
            self._tell("link", f"{error}. {ALONE}")
            return False
        why_not = self._why_gone()
        if why_not is None:
            self._tell("link", broke_text(error))
            why_not = self._try(newest, plan)
        if why_not is not None:
            self._tell("link", f"{why_not}. What follows is not recorded; start a new run.")
            return False
        self._tell_back("The PC link is back", newest)
        return True

    def take_over(self, newest: TickRecord) -> None:
        """The program was started again and goes on with the run: tell of the time between."""
        self._tell_back("This program was started again and has taken the run over", newest)

    def follow(self, record: TickRecord) -> None:
        """Take the next record; once those of an absence are there, tell what the heat did."""
        told = self._meanwhile.note(record) if self._meanwhile else None
        if told is not None:
            self._meanwhile = None
            self._tell("link", told)

    def _try(self, newest: TickRecord, plan: bytes) -> str | None:
        """Connect; return why that will not be, None once it is done."""
        end_s = time.monotonic() + TRIES_FOR_S
        while time.monotonic() < end_s:
            try:
                self._device.reconnect(newest.tick + 1, TRY_S)
            except (LinkError, Refused):
                if self._stops():
                    self._tell(LEFT, left_text(newest, self._story.names))
                    return "Left before the PC link was back"
                gone = self._why_gone()
                if gone is not None:
                    return gone
                time.sleep(PAUSE_S)
                continue
            if holds(self._device.greeting, plan, newest.tick + 1):
                return None
            return "The device was reset, or runs something else by now: heat is off"
        return f"The device has not come back in {TRIES_FOR_S / 60:.0f} min"

    def _tell_back(self, what: str, newest: TickRecord) -> None:
        greeting = self._device.greeting
        self._ledger.session = greeting.session
        missed = greeting.newest_tick - newest.tick
        self._tell("link", f"{what}; {_time_text(missed)} of readings were missed.")
        control = self._story.plan.header["control0"]
        self._meanwhile = Meanwhile(newest, greeting.newest_tick, control)


class Meanwhile:
    """Follows the records of an absence: from the one before it to those that existed at its end.

    `channel` is the one that the board is shown by.
    """

    def __init__(self, before: TickRecord, until_tick: int, channel: int) -> None:
        self._before = before
        self._until_tick = until_tick
        self._channel = channel
        self._newest = before
        self._heated_tick = before.tick  # the last one with heat allowed

    def note(self, record: TickRecord) -> str | None:
        """Take the next record; return the sentence once the absence is over."""
        if record.tick <= self._until_tick:
            self._newest = record
            if record.state in rs.HEATING_STATES:
                self._heated_tick = record.tick
        over = record.tick >= self._until_tick or record.state in OUTCOMES
        return self._sentence() if over else None

    def _sentence(self) -> str:
        """Say what the heat did and where the board went."""
        before, after = self._before, self._newest
        board = f"the board went from {self._board(before)} to {self._board(after)}"
        if before.state not in rs.HEATING_STATES:
            return f"Meanwhile heat was off; {board}."
        if after.state in rs.HEATING_STATES:
            return f"Meanwhile the run went on with its heat; {board}."
        heated = _time_text(self._heated_tick - before.tick)
        return (
            f"Meanwhile the device took the heat away, {heated} after the last reading that had"
            f" arrived; {board}."
        )

    def _board(self, record: TickRecord) -> str:
        return degrees(record.channel_cdeg(self._channel), 0)


def broke_text(error: LinkError) -> str:
    """Say that the link broke and what follows from it."""
    return (
        f"{error.what}. The device switches heat off within 2 s by itself and keeps what it"
        " measures; connecting again, Ctrl-C leaves."
    )


def _time_text(ticks: int) -> str:
    if ticks < 2 * TICKS_PER_MIN:
        return f"{ticks / TICKS_PER_S:.1f} s"
    return f"{ticks / TICKS_PER_MIN:.0f} min"
