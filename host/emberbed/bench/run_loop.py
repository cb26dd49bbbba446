"""One run from arming to cold: store first, then answer for the heat, then show.

The loop that stores the records is the one that renews the PC link, so nobody answers for heat that
is not being recorded. Takes a connected device, an open run in the store, a screen and a hand (the
person, or a script in their place); gives the run's outcome. Heat starts at the device's button,
never here.
"""

import time
from collections.abc import Callable
from contextlib import suppress
from typing import Protocol

from emberbed.bench.outcome import OUTCOMES, REFUSED, Outcome
from emberbed.bench.stage_text import degrees
from emberbed.bench.story import BAD_VERDICTS, Story
from emberbed.link.device import Device, Refused
from emberbed.link.events import Damaged, Event, Gap, Record, SessionLost, WrongVersion
from emberbed.link.transport import LinkError
from emberbed.records import TickRecord, decode_record
from emberbed.report.ending import LEFT
from emberbed.store.faults import StoreError
from emberbed.store.run_store import MOST_RECORDS, RunStore
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.trip_codes import WITHHELD_LEASE

POLL_S = 0.1
SILENT_S = 10.0  # without a record: the device hangs, or its cable does
OFFERS = 5  # how often the press is offered, 2 min each
LINK_LOST = OUTCOMES[rs.LINK_LOST]
STOPPED = OUTCOMES[rs.STOPPED]
ALONE = (
    "Without its PC link the device switches heat off within 2 s by itself; what follows is not"
    " recorded."
)


class Screen(Protocol):
    """Whatever shows the run."""

    def show(self, record: TickRecord) -> None:
        """Take the newest stored record."""

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        """Take one event, already stored."""


class Hand(Protocol):
    """Whoever stands at the bench."""

    def answers(self, record: TickRecord) -> int | None:
        """Return the prompt to acknowledge now, or None; may press the virtual button."""

    def stops(self) -> int:
        """Return how often stopping was asked for: once stops the heat, twice leaves."""
        ...


class BenchRun:
    """The loop. `take` may be the device's sink while requests wait for their answers.

    `why_gone` may know better than a broken link why the device is gone; None from it: nothing.
    """

    def __init__(
        self,
        device: Device,
        store: RunStore,
        run_id: int,
        story: Story,
        screen: Screen,
        hand: Hand,
        why_gone: Callable[[], str | None] = lambda: None,
    ) -> None:
        self._device = device
        self._store = store
        self._run_id = run_id
        self._story = story
        self._screen = screen
        self._hand = hand
        self._why_gone = why_gone
        self._heard_s = time.monotonic()
        self._newest: TickRecord | None = None
        self._stop_sent = False
        self._offers = 1
        self.outcome: Outcome | None = None

    @property
    def newest(self) -> TickRecord | None:
        """Return the newest stored record."""
        return self._newest

    def take(self, events: list[Event]) -> None:
        """Store what came, acknowledge it, then show it."""
        records = [event.raw for event in events if isinstance(event, Record)]
        broken: LinkError | None = None
        for first in range(0, len(records), MOST_RECORDS):
            try:
                self._commit(records[first : first + MOST_RECORDS])
            except LinkError as error:  # what has come is stored, even if nobody hears of it
                broken = error
        for event in events:
            self._note_trouble(event)
        if broken is not None:
            raise broken

    def watch(self, plan: bytes) -> Outcome:
        """Follow the armed run until the board may be handled, or the person leaves.

        Raises StoreError when the record cannot go on, after switching heat off.
        """
        self._heard_s = time.monotonic()
        while self.outcome is None:
            try:
                self.take(self._device.poll(POLL_S))
                self._check_heard()
                self._act(plan)
            except LinkError as error:
                self._lose_link(error)
            except StoreError:
                self._abandon_heat()
                raise
        return self.outcome

    def _check_heard(self) -> None:
        if self.outcome is None and time.monotonic() - self._heard_s > SILENT_S:
            raise LinkError(
                f"The device at {self._device.url} has sent no record for {SILENT_S:g} s: check the"
                " cable and the device's power, then connect again"
            )

    def _lose_link(self, error: LinkError) -> None:
        if self.outcome is not None:  # the record is whole: nothing is lost any more
            return
        gone = self._why_gone()
        if gone is None:
            self._tell("link", f"{error}. {ALONE}")
        else:
            self._tell("link", f"{gone}. What follows is not recorded; start a new run.")
        self.outcome = self._verdict_so_far(LINK_LOST)

    def _abandon_heat(self) -> None:
        """Nothing can be stored any more, so nobody may answer for heat."""
        self._device.sink = None
        with suppress(LinkError, Refused):  # the missing PC link does the same within 2 s
            self._device.stop(messages.STOP_HOST_ENDING)

    def _verdict_so_far(self, otherwise: Outcome) -> Outcome:
        """Return what a record that breaks off in the cooling has already shown."""
        verdict = self._newest.verdict if self._newest else rs.NO_VERDICT
        return OUTCOMES[verdict] if verdict in BAD_VERDICTS else otherwise

    def _act(self, plan: bytes) -> None:
        if self.outcome is not None or self._newest is None:
            return
        self._offer_again(plan, self._newest)
        self._obey_stop()
        prompt = self._hand.answers(self._newest)
        if prompt is not None:
            self._acknowledge(prompt)

    def _commit(self, raw_records: list[bytes]) -> None:
        self._store.append(self._run_id, raw_records)
        newest = self._newest
        for raw in raw_records:
            newest = decode_record(raw)
            for kind, sentence in self._story.follow(newest):
                self._tell(kind, sentence, newest.tick)
            if newest.state in OUTCOMES and self._story.armed:
                self.outcome = OUTCOMES[newest.state]
        assert newest is not None
        self._newest = newest
        self._heard_s = time.monotonic()
        self._device.renew(newest.tick)
        self._screen.show(newest)

    def _offer_again(self, plan: bytes, newest: TickRecord) -> None:
        """A press that did not come is offered again; nothing was heated."""
        if newest.state != rs.LOADED or not self._story.armed:
            return
        if self._offers >= OFFERS:
            self._tell("refused", "Nobody held the device's button: nothing was heated.")
            self.outcome = REFUSED
            return
        self._offers += 1
        self._story.disarm()
        why = "Nobody held the device's button in 2 min"
        if newest.withheld & WITHHELD_LEASE:
            why = "The PC link was silent for more than 2 s before the press"
        self._tell("arm", f"{why}; it is offered again.")
        try:
            self._device.arm(plan)
        except Refused as refused:
            self._tell("refused", str(refused))
            self.outcome = REFUSED

    def _obey_stop(self) -> None:
        asked = self._hand.stops()
        if asked and not self._stop_sent:
            self._stop_sent = True
            self._send_stop()
        if asked > 1 and self.outcome is None:
            self._tell(LEFT, self._left_text())
            self.outcome = self._verdict_so_far(STOPPED)

    def _left_text(self) -> str:
        """Say how hot the board was; a sensor without a reading says nothing good."""
        assert self._newest is not None
        readings = [self._newest.channel_cdeg(channel) for channel in self._story.names]
        hottest = max((one for one in readings if one is not None), default=None)
        if hottest is None:
            return "Left without a reading of the board: it may be hot, and nothing records it."
        left_at = f"Left while the board was at {degrees(hottest, 0)}"
        still = "it is still hot, and " if hottest >= HANDLING_CDEG else ""
        return f"{left_at}: {still}nothing records it any more."

    def _send_stop(self) -> None:
        newest = self._newest
        assert newest is not None
        heat = "heat off" if newest.verdict == rs.NO_VERDICT else "heat is off already"
        rest = f"{heat}, the cooling is still recorded. Ctrl-C again leaves."
        if newest.state not in (*rs.HEATING_STATES, rs.COOL) and newest.energy_j == 0:
            rest = "nothing was heated."
        self._tell("stop", f"Stop asked for: {rest}")
        try:
            self._device.stop(messages.STOP_BY_PERSON)
        except Refused as refused:
            self._tell("stop", f"The device did not take the stop: {refused} {ALONE}")
            self.outcome = STOPPED  # leaving is the other way to take the heat away

    def _acknowledge(self, prompt: int) -> None:
        try:
            self._device.acknowledge(prompt)
        except Refused as refused:
            self._tell("answer", f"The answer came too late or too early: {refused}")

    def _note_trouble(self, event: Event) -> None:
        if isinstance(event, Gap):
            self._tell(
                "gap", f"Readings {event.first} to {event.last} are lost: the device had no room."
            )
        elif isinstance(event, Damaged):
            self._tell("damage", f"{event.count} frames arrived damaged and were dropped.")
        elif isinstance(event, (SessionLost, WrongVersion)):
            self._tell("link", "The device was reset, or taken over by another program.")
            self.outcome = self.outcome or self._verdict_so_far(LINK_LOST)

    def _tell(self, kind: str, sentence: str, tick: int | None = None) -> None:
        if tick is None and self._newest is not None:
            tick = self._newest.tick
        self._store.add_event(self._run_id, tick, kind, sentence)
        self._screen.tell(tick, kind, sentence)
