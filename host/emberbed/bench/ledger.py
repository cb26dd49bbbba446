"""The runs of one command in the store: the open one, one that is to go on with it, those ended.

A run that goes on after a mended trip is opened before the device hears of it, and takes over with
the record that armed it (`turn_over`). Until then everything belongs to the run before.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice
from typing import NamedTuple

from emberbed.bench.outcome import REFUSED, Outcome
from emberbed.link.events import Snapshot
from emberbed.profiles.plan_bytes import Plan
from emberbed.records import TickRecord
from emberbed.store.left_open import take_over
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunFacts, utc_now
from emberbed.store.snapshots import pack_numbers

PAGE_RECORDS = 500  # decoded at a time, between two breaths


class _Ended(NamedTuple):
    """A run that is over and waits to be summed up."""

    run_id: int
    outcome: Outcome
    trip: int


class Ledger:
    """`run_id` is the run that records and events belong to now, `earlier` those before it."""

    def __init__(self, store: RunStore, facts: RunFacts) -> None:
        self._open(store, facts, store.begin_run(facts))

    def _open(self, store: RunStore, facts: RunFacts, run_id: int) -> None:
        self.store = store
        self.run_id = run_id
        self.next_id: int | None = None
        self.earlier: list[int] = []
        self.session = facts.session  # that the device is in now; a new run is armed in it
        self._facts = facts
        self._to_end: list[_Ended] = []

    @classmethod
    def taking_over(cls, store: RunStore, facts: RunFacts, run_id: int) -> "Ledger":
        """Go on with a run in the store whose writer is gone; `facts` are those of its head."""
        take_over(store.database, run_id)
        ledger = cls.__new__(cls)
        ledger._open(store, facts, run_id)
        return ledger

    def append(self, records: list[bytes], rebuilt: bool = False) -> None:
        self.store.append(self.run_id, records, rebuilt=rebuilt)

    def add_snapshot(self, snapshot: Snapshot) -> None:
        """Keep what the device remembered after a tick."""
        self.store.add_snapshot(self.run_id, snapshot.tick, pack_numbers(snapshot.numbers))

    def add_event(self, tick: int | None, kind: str, sentence: str) -> None:
        self.store.add_event(self.run_id, tick, kind, sentence)

    # going on

    def begin_next(self) -> int:
        """Open the run that is to go on with this one; return its number."""
        facts = replace(
            self._facts, linked_to=self.run_id, started_utc=utc_now(), session=self.session
        )
        self.next_id = self.store.begin_run(facts)
        return self.next_id

    def refuse_next(self, sentence: str) -> None:
        """Close it again: the device would not go on."""
        assert self.next_id is not None
        self.store.add_event(self.next_id, None, "refused", sentence)
        self.store.end_run(self.next_id, REFUSED.state, REFUSED.exit_code)
        self.next_id = None

    def turn_over(self, outcome: Outcome, trip: int) -> None:
        """Let the next run take over; the one before has ended like this."""
        assert self.next_id is not None
        self._to_end.append(_Ended(self.run_id, outcome, trip))
        self.earlier.append(self.run_id)
        self.run_id, self.next_id = self.next_id, None

    # ending

    def end(self, outcome: Outcome, trip: int, plan: Plan, names: dict[int, str]) -> None:
        """Close every run that is still open; the newest has ended like this."""
        if self.next_id is not None:
            self.refuse_next("The link broke before the run could go on.")
        self.end_earlier(plan, names)
        self._end_one(_Ended(self.run_id, outcome, trip), plan, names)

    def end_earlier(
        self, plan: Plan, names: dict[int, str], breathe: Callable[[], None] = lambda: None
    ) -> None:
        """Sum up and close the runs before. `breathe` is called now and then: a long record takes
        a while to be read again, and the run that goes on must not be left alone meanwhile."""
        while self._to_end:
            self._end_one(self._to_end[0], plan, names, breathe)
            self._to_end.pop(0)

    def give_up(self) -> None:
        """Close what is open as interrupted: nobody knows how it went on."""
        open_runs = [ended.run_id for ended in self._to_end]
        for run_id in [*open_runs, self.run_id, *([self.next_id] if self.next_id else [])]:
            if self.store.run(run_id).state == "open":
                self.store.end_run(run_id, "interrupted", None)

    def _end_one(
        self,
        ended: _Ended,
        plan: Plan,
        names: dict[int, str],
        breathe: Callable[[], None] = lambda: None,
    ) -> None:
        from emberbed.report.summary import summarise

        figures = summarise(self._records(ended.run_id, breathe), plan, names)
        self.store.end_run(
            ended.run_id,
            ended.outcome.state,
            ended.outcome.exit_code,
            trip=ended.trip,
            limits_exceeded=len(figures.limits_exceeded),
        )

    def _records(self, run_id: int, breathe: Callable[[], None]) -> Iterator[TickRecord]:
        """Give a run's records page by page; no query stays open while others write."""
        from_tick = 0
        while True:
            reading = self.store.records(run_id, from_tick)
            page = list(islice(reading, PAGE_RECORDS))
            reading.close()  # type: ignore[attr-defined]  (a generator)
            if not page:
                return
            yield from page
            from_tick = page[-1].tick + 1
            breathe()
