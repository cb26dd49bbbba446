"""What the run loop asks of whatever shows a run, and of whoever stands at the bench."""

from typing import Protocol

from emberbed.bench.progress import Progress
from emberbed.bench.wishes import Wish
from emberbed.records import TickRecord


class Screen(Protocol):
    """Whatever shows the run."""

    def show(self, record: TickRecord) -> None:
        """Take the newest stored record."""

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        """Take one event, already stored."""

    def turn_over(self, run_id: int) -> None:
        """Show the run that goes on with the one before."""


class Hand(Protocol):
    """Whoever stands at the bench; `source` is one of messages.BY_TERMINAL .."""

    source: int

    def wishes(self, record: TickRecord, progress: Progress) -> list[Wish]:
        """Return what is to be asked of the device now; may press the virtual button."""
        ...

    def stops(self) -> int:
        """Return how often stopping was asked for: once stops the heat, twice leaves."""
        ...

    def forget_stops(self) -> None:
        """Count anew: a new run has begun."""
