"""What of the catalogue happens at a simulated time, to one of those that act on it.

Takes the events of a bench once, then a time in s that never goes back: `at` gives those that last,
by name, and `due` hands out each that happens at once a single time. Refuses an event for a sensor
or a zone that the bench lacks.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import inf

from emberbed_sim.plant.fault_catalogue import KINDS, FaultEvent
from emberbed_sim.plant.fault_kind import ON_HEATER

Happening = Mapping[str, Sequence[FaultEvent]]
NOTHING: Happening = {}


class Happenings:
    """The events that `acts_on` (fault_kind.ON_*) carries out, in the order they were given."""

    def __init__(
        self,
        events: Iterable[FaultEvent],
        sensors: int = 0,
        zones: int = 1,
        acts_on: str = ON_HEATER,
    ) -> None:
        self._acts_on = acts_on
        self._sensors = sensors
        self._zones = zones
        self._lasting: list[FaultEvent] = []
        self._moments: list[FaultEvent] = []
        self.add(events)

    def add(self, events: Iterable[FaultEvent]) -> None:
        """Let these happen too; those whose time is over are gone."""
        own = [event for event in events if KINDS[event.name].acts_on == self._acts_on]
        for event in own:
            self._check_part(event)
        self._lasting += [event for event in own if not KINDS[event.name].at_once]
        self._moments += [event for event in own if KINDS[event.name].at_once]
        self._now: Happening = NOTHING
        self._until_s = -inf  # `_now` holds until then

    def at(self, elapsed_s: float) -> Happening:
        """Return the events that are there now."""
        if not self._lasting:
            return NOTHING
        if elapsed_s >= self._until_s:
            self._now = self._looked_up(elapsed_s)
            self._until_s = self._next_change_s(elapsed_s)
        return self._now

    def due(self, elapsed_s: float) -> list[FaultEvent]:
        """Return the moments that have come since the last call, and forget them."""
        if not self._moments:
            return []
        come = [event for event in self._moments if event.onset_s <= elapsed_s]
        self._moments = [event for event in self._moments if event.onset_s > elapsed_s]
        return come

    def __bool__(self) -> bool:
        """Tell whether anything is left that could happen."""
        return bool(self._lasting or self._moments)

    def _looked_up(self, elapsed_s: float) -> Happening:
        now: dict[str, list[FaultEvent]] = {}
        for event in self._lasting:
            if event.active_at(elapsed_s):
                now.setdefault(event.name, []).append(event)
        return now

    def _next_change_s(self, elapsed_s: float) -> float:
        """Return the next time at which an event begins or ends."""
        changes_s = [event.onset_s for event in self._lasting]
        changes_s += [
            event.onset_s + event.length_s for event in self._lasting if event.length_s is not None
        ]
        return min((change_s for change_s in changes_s if change_s > elapsed_s), default=inf)

    def _check_part(self, event: FaultEvent) -> None:
        part = KINDS[event.name].part
        if part == "channel" and event.part >= self._sensors:
            raise ValueError(
                f"Fault {event.name} names channel {event.part}, but the last sensor of "
                f"this bench is on channel {self._sensors - 1}."
            )
        if part == "zone" and event.part >= self._zones:
            raise ValueError(
                f"Fault {event.name} names zone {event.part}, but the last zone of this bench is "
                f"{self._zones - 1}."
            )
        if event.name == "channels_swapped" and self._sensors == 1:
            raise ValueError(f"Fault {event.name} needs two sensors; this bench has one.")
