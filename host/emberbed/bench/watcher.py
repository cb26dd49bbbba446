"""Whoever else watches a run and may ask for things, besides the terminal: the bench page.

A watcher is told of the run once it is open in the store (`begins`), then sees what the screen
sees, after it is stored, and is asked each turn of the loop what it wants. It must not take the
loop's time: the loop answers for the heat.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from emberbed.bench.progress import Progress
from emberbed.bench.run_loop import Hand, Screen
from emberbed.bench.story import Story
from emberbed.bench.virtual import VirtualDevice
from emberbed.bench.wishes import Wish
from emberbed.device_description import DeviceDescription
from emberbed.records import TickRecord
from emberbed.store.runs import RunEvent, RunFacts


@dataclass(frozen=True)
class Begun:
    """A run that is about to be armed. `virtual` is None for a real device."""

    run_id: int
    story: Story
    facts: RunFacts
    description: DeviceDescription
    virtual: VirtualDevice | None


class Watcher(Screen, Hand, Protocol):
    """Both, without the terminal."""

    def begins(self, begun: Begun) -> None:
        """Take what is about to be armed."""

    def catch_up(self, records: Iterable[TickRecord], events: Iterable[RunEvent]) -> None:
        """Take what was stored of a run that is taken over; its story has followed it already."""


class Screens:
    """Several screens as one."""

    def __init__(self, screens: Sequence[Screen]) -> None:
        self._screens = screens

    def show(self, record: TickRecord) -> None:
        for screen in self._screens:
            screen.show(record)

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        for screen in self._screens:
            screen.tell(tick, kind, sentence)

    def turn_over(self, run_id: int) -> None:
        for screen in self._screens:
            screen.turn_over(run_id)


class Hands:
    """The hand at the terminal and a watcher's as one; what the watcher wants goes in its name."""

    def __init__(self, own: Hand, watcher: Hand) -> None:
        self.source = own.source
        self._own, self._watcher = own, watcher

    def wishes(self, record: TickRecord, progress: Progress) -> list[Wish]:
        return [*self._own.wishes(record, progress), *self._watcher.wishes(record, progress)]

    def stops(self) -> int:
        return max(self._own.stops(), self._watcher.stops())

    def forget_stops(self) -> None:
        self._own.forget_stops()
        self._watcher.forget_stops()
