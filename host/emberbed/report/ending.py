"""How a run ended, for a person: the verdict, and after it cause, action and caution.

The same sentences on the run's page, at the end of `emberbed run` and in `emberbed runs show`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from emberbed import words
from emberbed.records import TickRecord
from emberbed.report.cooling import cooling_not_proven
from emberbed.report.deed_kinds import CHANGES
from emberbed.report.trip_cause import sensor_of_trip
from emberbed.store.faults import StoreError
from emberbed.store.meaning import channel_names_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunEvent, StoredRun
from emberbed_fw.trip_codes import NO_TRIP

LEFT = "left"  # the kind of the event of a person who did not wait until the board was cool
STILL_HOT = ("tripped", "stopped", "link_lost", "interrupted")


@dataclass(frozen=True)
class Ending:
    """`trips` begins with the cause; `left` says how hot the board was when a person left, or ''.

    `energy_j` is None where it is not known. `unproven` says why the cooling is not proven, or '';
    `afterwards` is what else there is to know: the runs that belong to this one, what to do next.
    """

    state: str
    limits_exceeded: int | None
    energy_j: int | None
    trips: tuple[words.TripWords, ...]
    left: str = ""
    unproven: str = ""
    afterwards: tuple[str, ...] = ()

    def verdict(self) -> str:
        return words.verdict_words(self.state, self.limits_exceeded, self.energy_j)

    def cautions(self) -> list[str]:
        """Return what to beware of."""
        nothing_heated = self.state == "stopped" and self.energy_j == 0
        if nothing_heated or (self.state not in STILL_HOT and not self.unproven):
            return []
        return [said for said in (self.left, self.unproven, words.HOT) if said]

    def lines(self) -> list[str]:
        """Return all of it as lines; the last ones are what somebody has to know now."""
        if not self.trips:
            return [self.verdict(), *self.afterwards, *self.cautions()]
        # "Tripped: ..." with the cause instead of the bare verdict
        heads = [f"{self.verdict().partition(':')[0]}:", *["And then:"] * (len(self.trips) - 1)]
        told = [
            f"{head} {trip.happened} {trip.mend}"
            for head, trip in zip(heads, self.trips, strict=True)
        ]
        return [*told, *self.afterwards, *self.cautions()]


def ending_of(
    store: RunStore,
    run: StoredRun,
    events: Iterable[RunEvent],
    trip_tick: int | None = None,
    changed: bool | None = None,
) -> Ending:
    """Return how `run` ended; `trip_tick` is that of its first tripped record and `changed` whether
    a person changed what it did, if they are known."""
    told = list(events)
    if trip_tick is None:
        trip_tick = next((event.tick for event in told if event.kind == "trip"), None)
    newest = _record_at(store, run, run.last_tick)
    return Ending(
        run.state,
        run.limits_exceeded,
        newest.energy_j if newest else None,
        _trips(run, _record_at(store, run, trip_tick), newest),
        next((event.sentence for event in told if event.kind == LEFT), ""),
        _unproven(store, run, newest),
        tuple(_afterwards(store, run, changed)),
    )


def _unproven(store: RunStore, run: StoredRun, newest: TickRecord | None) -> str:
    try:
        return cooling_not_proven(store, run, newest)
    except StoreError:  # damaged, as below
        return ""


def _afterwards(store: RunStore, run: StoredRun, changed: bool | None) -> Iterator[str]:
    if run.linked_to is not None:
        yield f"Went on from run {run.linked_to}."
    following = store.goes_on_as(run.id)
    if following is not None:
        yield f"Went on as run {following}."
    if run.state == "open":
        return
    if _was_changed(store, run) if changed is None else changed:
        yield f"Save what you did: emberbed runs revise {run.id} NEW.toml"


def _was_changed(store: RunStore, run: StoredRun) -> bool:
    try:
        return any(record.touch in CHANGES for record in store.records(run.id))
    except StoreError:
        return False


def _record_at(store: RunStore, run: StoredRun, tick: int | None) -> TickRecord | None:
    """Return the first record from `tick` on; None when there is none that can be read."""
    if tick is None:
        return None
    try:
        return next(store.records(run.id, tick), None)
    except StoreError:  # damaged: the audit says so, the verdict is told all the same
        return None


def _trips(
    run: StoredRun, first: TickRecord | None, newest: TickRecord | None
) -> tuple[words.TripWords, ...]:
    if first is None or first.trip == NO_TRIP:
        return (words.trip_words(run.trip),) if run.trip else ()
    cause = words.trip_words(first.trip, sensor_of_trip(first, plan_of(run), channel_names_of(run)))
    second = newest.second_trip if newest else NO_TRIP
    return (cause,) if second == NO_TRIP else (cause, words.trip_words(second))
