"""One run from arming to cold, and those that go on with it: store first, then answer, then show.

The loop that stores the records is the one that renews the PC link, so nobody answers for heat that
is not being recorded. Takes a connected device, the ledger of the runs, a screen and a hand (the
person, or a script in their place); gives the last run's outcome. Heat starts at the device's
button, never here.
"""

import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress

from emberbed.bench import going_on
from emberbed.bench.absence import Absence
from emberbed.bench.arrivals import batches, trouble_of
from emberbed.bench.clock_watch import ClockWatch
from emberbed.bench.ledger import Ledger
from emberbed.bench.onlookers import Hand, Screen
from emberbed.bench.outcome import OUTCOMES, REFUSED, Outcome
from emberbed.bench.requests import Requests, left_text
from emberbed.bench.self_check import SelfCheck
from emberbed.bench.story import BAD_VERDICTS, Story
from emberbed.bench.wishes import Stop
from emberbed.link.device import Device, Refused
from emberbed.link.events import DEVICE, Event, Snapshot
from emberbed.link.transport import LinkError
from emberbed.records import TickRecord, decode_record
from emberbed.report.ending import LEFT
from emberbed.store.faults import StoreError
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.trip_codes import WITHHELD_LEASE

POLL_S = 0.1
SILENT_S = 10.0  # without a record: the device hangs, or its cable does
OFFERS = 5  # how often the press is offered, 2 min each
LINK_LOST = OUTCOMES[rs.LINK_LOST]
STOPPED = OUTCOMES[rs.STOPPED]


class BenchRun:
    """The loop. `take` may be the device's sink while requests wait for their answers.

    `why_gone` may know better than a broken link why the device is gone; None from it: nothing.
    `learner` sees every stored record, must not take its time, and may have something to tell.
    `clock`: for a device that keeps its own time.
    """

    def __init__(
        self,
        device: Device,
        ledger: Ledger,
        story: Story,
        screen: Screen,
        hand: Hand,
        why_gone: Callable[[], str | None] = lambda: None,
        learner: Callable[[TickRecord], Sequence[tuple[int, str, str]]] = lambda _record: (),
        self_check: SelfCheck | None = None,
        clock: ClockWatch | None = None,
    ) -> None:
        self._device = device
        self._ledger = ledger
        self._story = story
        self._screen = screen
        self._hand = hand
        self._learner = learner
        self._self_check = self_check or SelfCheck()
        self._clock = clock
        self._requests = Requests(device, hand.source, self._tell)
        self._heard_s = time.monotonic()
        self._newest: TickRecord | None = None
        self._stop_sent = False
        self._offers = 1
        self._goes_on = False  # the person has said so
        self._absence = Absence(device, ledger, story, hand.stops, why_gone, self._tell)
        self.outcome: Outcome | None = None

    @property
    def newest(self) -> TickRecord | None:
        """Return the newest stored record."""
        return self._newest

    def take(self, events: list[Event]) -> None:
        """Store what came, acknowledge it, then show it."""
        broken: LinkError | None = None
        for batch in batches(events):
            try:
                self._commit([record.raw for record in batch], batch[0].origin != DEVICE)
            except LinkError as error:  # what has come is stored, even if nobody hears of it
                broken = error
        for event in events:
            self._note_other(event)
        if broken is not None:
            raise broken

    def watch(self, plan: bytes) -> Outcome:
        """Follow the armed run until the board may be handled, or the person leaves.

        Raises StoreError when the record cannot go on, after switching heat off.
        """
        self._heard_s = time.monotonic()
        while self.outcome is None:
            try:
                self._listen(POLL_S)
                self._check_heard()
                self._act(plan)
                self._ledger.end_earlier(
                    self._story.plan, self._story.names, lambda: self._listen(0)
                )
            except LinkError as error:
                self._reconnect(error, plan)
            except StoreError:
                self._abandon_heat()
                raise
        return self.outcome

    def arm(self, plan: bytes, stage: int = going_on.NEW_RUN, done_ticks: int = 0) -> None:
        """Arm and keep what the device says of its trips. Raises Refused or LinkError."""
        run_id = self._ledger.next_id or self._ledger.run_id
        self._self_check.arming()
        counts = self._device.arm(plan, stage=stage, done_ticks=done_ticks)
        self._self_check.armed(counts)
        self._ledger.store.note_trip_counts(run_id, counts)

    def take_over(
        self, records: Iterable[bytes], followed: Callable[[], None] = lambda: None
    ) -> None:
        """Go on with a run of which these records are stored already, and were told of.

        `followed` is called before anything new is told.
        """
        for raw in records:
            self._newest = decode_record(raw)
            self._story.follow(self._newest, raw)
        followed()
        self._device.sink = self.take
        assert self._newest is not None
        self._absence.take_over(self._newest)

    def _listen(self, wait_s: float) -> None:
        self.take(self._device.poll(wait_s))

    def _check_heard(self) -> None:
        if self.outcome is None and time.monotonic() - self._heard_s > SILENT_S:
            raise LinkError(
                f"The device at {self._device.url} has sent no record for {SILENT_S:g} s: check the"
                " cable and the device's power, then connect again"
            )

    def _reconnect(self, error: LinkError, plan: bytes) -> None:
        """Connect again and go on with the record; without that the run is over here."""
        if self.outcome is not None:  # the record is whole: nothing is lost any more
            return
        if not self._absence.come_back(error, self._newest, plan):
            self.outcome = self._verdict_so_far(LINK_LOST)
        self._heard_s = time.monotonic()

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
        for wish in self._hand.wishes(self._newest, self._story.progress):
            if isinstance(wish, Stop):
                self._stop(wish.reason)
            else:
                self._requests.carry_out(wish)
        if self._goes_on and self._newest.state == rs.COOL:
            self._goes_on = False
            self._go_on(plan)

    def _commit(self, raw_records: list[bytes], rebuilt: bool) -> None:
        begins = None
        if self._ledger.next_id is not None:
            begins = going_on.first_of_next(raw_records)
        if begins is not None:
            self._keep(raw_records[:begins], rebuilt)
            self._turn_over(decode_record(raw_records[begins]).tick)
        self._keep(raw_records[begins or 0 :], rebuilt)
        assert self._newest is not None
        self._heard_s = time.monotonic()
        self._device.renew(self._newest.tick)
        self._screen.show(self._newest)

    def _keep(self, raw_records: list[bytes], rebuilt: bool) -> None:
        """Store records of the open run, and tell what changed with them."""
        self._ledger.append(raw_records, rebuilt)
        for raw in raw_records:
            newest = decode_record(raw)
            self._absence.follow(newest)
            for kind, sentence in self._story.follow(newest, raw):
                self._tell(kind, sentence, newest.tick)
            if newest.state in OUTCOMES and self._story.armed:
                self.outcome = OUTCOMES[newest.state]
            self._goes_on = self._goes_on or going_on.was_answered(newest)
            self._newest = newest
            checked = [*self._self_check.follow(raw, newest.tick), *self._learner(newest)]
            if self._clock is not None and not rebuilt:
                checked += self._clock.follow(newest)
            for tick, kind, sentence in checked:
                self._tell(kind, sentence, tick)

    def _go_on(self, plan: bytes) -> None:
        """The trip is mended: arm a new run that goes on with this one."""
        stage, done_ticks = going_on.place_of(self._story.progress)
        self._ledger.begin_next()
        try:
            self.arm(plan, stage, done_ticks)
        except Refused as refused:
            self._ledger.refuse_next(str(refused))
            self._tell("refused", f"It cannot go on: {refused}")

    def _turn_over(self, tick: int) -> None:
        """From `tick` on the records belong to the run that goes on with this one."""
        before, newest = self._ledger.run_id, self._newest
        assert newest is not None
        self._tell("goes_on", f"Goes on as run {self._ledger.next_id}.")
        told = f"Goes on with run {before}: {going_on.from_text(self._story.progress)}."
        self._ledger.turn_over(self._verdict_so_far(STOPPED), newest.trip)
        self._story.begin_next()
        self._hand.forget_stops()
        self._stop_sent = self._goes_on = False
        self._screen.turn_over(self._ledger.run_id)
        self._tell("goes_on", told, tick)

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
            self.arm(plan)
        except Refused as refused:
            self._tell("refused", str(refused))
            self.outcome = REFUSED

    def _obey_stop(self) -> None:
        asked = self._hand.stops()
        doubted = self._self_check.wants_stop or (self._clock and self._clock.wants_stop)
        if asked or doubted:
            self._stop(messages.STOP_BY_PERSON if asked else messages.STOP_SELF_CHECK)
        if asked > 1 and self.outcome is None:
            assert self._newest is not None
            self._tell(LEFT, left_text(self._newest, self._story.names))
            self.outcome = self._verdict_so_far(STOPPED)

    def _stop(self, reason: int) -> None:
        """Take the heat away, once."""
        if self._stop_sent or self._newest is None:
            return
        self._stop_sent = True
        if not self._requests.stop(reason, self._newest):
            self.outcome = STOPPED  # leaving is the other way to take the heat away

    def _note_other(self, event: Event) -> None:
        """Take what is no record: it may be kept, told, or be the end."""
        if isinstance(event, Snapshot):
            self._ledger.add_snapshot(event)
            self._self_check.snapshot(event.tick, event.numbers)
        told = trouble_of(event)
        if told is not None:
            self._tell(told.kind, told.sentence)
            if told.ends_record:
                self.outcome = self.outcome or self._verdict_so_far(LINK_LOST)

    def _tell(self, kind: str, sentence: str, tick: int | None = None) -> None:
        if tick is None and self._newest is not None:
            tick = self._newest.tick
        self._ledger.add_event(tick, kind, sentence)
        self._screen.tell(tick, kind, sentence)
