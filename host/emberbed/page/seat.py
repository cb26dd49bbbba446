"""The page's seat at a run: sees what the screen sees, asks in the page's name.

A Watcher of the run's loop, called in its thread; `ask` may be called from any other. What is asked
waits in a queue for the loop's next turn and is judged against the run as it is then. Nothing that
can be asked starts heat: the press is at the device. A simulated bench has a simulated hand, which
goes through the virtual device's own control channel and is called so on the page.
"""

import time
from collections.abc import Callable, Iterable
from queue import Empty, SimpleQueue
from typing import Any

from emberbed.bench import key_table
from emberbed.bench.progress import Progress
from emberbed.bench.story import Story
from emberbed.bench.virtual import VirtualDevice
from emberbed.bench.watcher import Begun
from emberbed.bench.wishes import Answer, Stop, Touch, Wish
from emberbed.page.facts import facts_of
from emberbed.page.feed import Feed
from emberbed.records import TickRecord
from emberbed.store.runs import RunEvent
from emberbed.touch_words import mark_words
from emberbed_fw import messages
from emberbed_fw.units import FULL_POWER_Q15, NONE

REFRESH_S = 0.1  # how often the facts are made anew
PINNED = ("prompt", "trip", "touch", "answer", "stop", "link")
Asked = Callable[[TickRecord, Progress], Wish | None]
MOVED_ON = "Not done: the run has moved on meanwhile; look at what it does now."


class PageSeat:
    """One seat for all runs of the page, one at a time."""

    source = messages.BY_PAGE

    def __init__(self, feed: Feed) -> None:
        self._feed = feed
        self._asked: SimpleQueue[Asked] = SimpleQueue()
        self._story: Story | None = None
        self._begun: Begun | None = None
        self._record: TickRecord | None = None
        self._trip: tuple[int, dict[str, Any] | None] = (0, None)
        self._marks = 0
        self._stage = NONE  # the last one that is pinned to the curve
        self._fresh_s = 0.0
        self._leaves = False
        self._blows = False
        self.begun_by: dict[str, Any] = {}  # what the page wants to know again: profile, underlays

    # asked for by the page, in any thread

    def ask(self, asked: Asked) -> None:
        self._asked.put(asked)

    def answer(self, prompt: int) -> None:
        """Answer this prompt, if it is still the one that is shown; NONE goes on from a hold."""

        def wish(record: TickRecord, progress: Progress) -> Wish | None:
            found = key_table.answer_wish(progress) if record.prompt == prompt else None
            return found or self._moved_on()

        self.ask(wish)

    def change(self, key: str, stage: int) -> None:
        """Do what a row of key_table asks for, if the stage is still the one that was seen."""
        row = key_table.BY_KEY[key]
        stops = key == "s"

        def wish(record: TickRecord, progress: Progress) -> Wish | None:
            seen = record.stage == stage or stops
            return row.wish(progress) if seen else self._moved_on()

        self.ask(wish)

    def stop(self) -> None:
        """Take the heat away; the cooling goes on being recorded."""
        self.ask(lambda _record, _progress: Stop(messages.STOP_BY_PERSON))

    def leave(self) -> None:
        """The page's program ends: heat off, and the record too."""
        self._leaves = True

    def simulate(self, act: str) -> None:
        """Move the simulated hand at the virtual bench; nothing on a real one."""

        def move(_record: TickRecord, _progress: Progress) -> None:
            virtual = self._begun.virtual if self._begun else None
            if virtual is not None:
                self._move(virtual, act)

        self.ask(move)

    # the run's loop

    def begins(self, begun: Begun) -> None:
        self._begun, self._story = begun, begun.story
        self._leaves = self._blows = False
        self._turn(begun.run_id)

    def catch_up(self, records: Iterable[TickRecord], events: Iterable[RunEvent]) -> None:
        for record in records:
            self._record = record
            self._add_row(record)
        self._pin_marks()
        for event in events:
            self._note(event.tick, event.kind, event.sentence)
        self._refresh()

    def show(self, record: TickRecord) -> None:
        self._record = record
        self._pin_marks()
        self._add_row(record)
        if time.monotonic() - self._fresh_s >= REFRESH_S:
            self._refresh()

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        self._note(tick, kind, sentence)
        self._refresh()

    def _note(self, tick: int | None, kind: str, sentence: str) -> None:
        assert self._story is not None
        at_s = None if tick is None else self._story.seconds_since_press(tick)
        clock = self._story.clock(tick).strip()
        self._feed.add_event({"kind": kind, "clock": clock, "sentence": sentence, "at_s": at_s})
        if kind in PINNED:
            self._feed.add_pin({"kind": kind, "at_s": at_s, "text": sentence})

    def turn_over(self, run_id: int) -> None:
        self._turn(run_id)

    def wishes(self, record: TickRecord, progress: Progress) -> list[Wish]:
        found = []
        while True:
            try:
                wish = self._asked.get_nowait()(record, progress)
            except Empty:
                return found
            if isinstance(wish, (Answer, Touch)):
                wish = wish._replace(source=self.source)
            if wish is not None:
                found.append(wish)

    def stops(self) -> int:
        return 2 if self._leaves else 0

    def forget_stops(self) -> None:
        pass  # who leaves, leaves every run

    def ended(self) -> None:
        """The loop is over: show its last moment, and forget what was asked too late."""
        self._refresh()
        while not self._asked.empty():
            self._asked.get_nowait()
        self._story = self._begun = self._record = None

    # inside

    def _turn(self, run_id: int) -> None:
        assert self._begun is not None and self._story is not None
        progress, names, facts = self._story.progress, self._story.names, self._begun.facts
        self._channels = [*progress.board_channels(), *progress.emitter_channels()]
        self._marks, self._trip, self._stage = 0, (0, None), NONE
        header = self._story.plan.header
        about = {
            "run_id": run_id,
            "profile": facts.profile_name,
            "simulated": facts.simulated,
            "device": facts.device,
            "engine": facts.engine,
            "firmware": facts.firmware_version,
            "fingerprint": facts.firmware_digest,
            "speed": facts.speed,
            "most_c": header["most_setpoint_cdeg"] / 100,
            "stages": len(self._story.plan.stages),
            "on_heater": len(progress.emitter_channels()),
            "limits_c": [header[f"limit{channel}_cdeg"] / 100 for channel in self._channels],
            **self.begun_by,
        }
        self._feed.begin(about, [names.get(c, f"channel{c}") for c in self._channels])

    def _add_row(self, record: TickRecord) -> None:
        assert self._story is not None
        at_s = self._story.seconds_since_press(record.tick)
        if at_s is None:
            return  # nothing is heated yet
        readings = [record.channel_cdeg(channel) for channel in self._channels]
        asked, percent = record.asked_cdeg(), 100 * record.demand0_q15 / FULL_POWER_Q15
        celsius = [None if cdeg is None else cdeg / 100 for cdeg in (asked, *readings)]
        self._feed.add_row([at_s, celsius[0], percent, *celsius[1:]])
        if record.stage not in (self._stage, NONE):
            self._stage = record.stage
            self._feed.add_pin({"kind": "stage", "at_s": at_s, "stage": record.stage, "text": ""})

    def _pin_marks(self) -> None:
        assert self._story is not None
        marks = self._story.progress.marks
        for tick, mark in marks[self._marks :]:
            at_s = self._story.seconds_since_press(tick)
            self._feed.add_pin({"kind": "mark", "at_s": at_s, "text": mark_words(mark)})
        self._marks = len(marks)

    def _refresh(self) -> None:
        self._fresh_s = time.monotonic()
        if self._record is None or self._story is None:
            return
        record = self._story.progress.newest or self._record
        facts = facts_of(record, self._story)
        code = record.trip or (facts["trip"] is not None)
        if code != self._trip[0]:
            self._trip = (code, facts["trip"])  # the first record of a trip knows its sensor
        facts["trip"] = self._trip[1]
        facts["blows"] = self._blows
        self._feed.put_facts(facts)

    def _moved_on(self) -> None:
        self._feed.add_event({"kind": "refusal", "clock": "", "sentence": MOVED_ON, "at_s": None})

    def _move(self, virtual: VirtualDevice, act: str) -> None:
        if act == "press":
            virtual.hold_button()
        elif act == "air":
            self._blows = not self._blows
            virtual.blow(self._blows)
