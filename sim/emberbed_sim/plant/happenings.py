"""What of the catalogue happens at a simulated time.

Takes the events of a bench once, then a time in s: `at` gives those that last, by name, and `due`
hands out each that happens at once a single time. Refuses an event for a sensor the bench lacks.
"""

from collections.abc import Mapping, Sequence

from emberbed_sim.plant.fault_catalogue import KINDS, FaultEvent

Happening = Mapping[str, Sequence[FaultEvent]]
NOTHING: Happening = {}


class Happenings:
    """The events of one bench, in the order they were given."""

    def __init__(self, events: Sequence[FaultEvent], sensors: int) -> None:
        for event in events:
            if KINDS[event.name].names_channel and event.amount >= sensors:
                raise ValueError(
                    f"Fault {event.name} names channel {event.amount:g}, but the last sensor of "
                    f"this bench is on channel {sensors - 1}."
                )
        self._lasting = [event for event in events if not KINDS[event.name].at_once]
        self._moments = [event for event in events if KINDS[event.name].at_once]

    def at(self, elapsed_s: float) -> Happening:
        """Return the events that are there now."""
        if not self._lasting:
            return NOTHING
        now: dict[str, list[FaultEvent]] = {}
        for event in self._lasting:
            if event.active_at(elapsed_s):
                now.setdefault(event.name, []).append(event)
        return now

    def due(self, elapsed_s: float) -> list[FaultEvent]:
        """Return the moments that have come since the last call, and forget them."""
        if not self._moments:
            return []
        come = [event for event in self._moments if event.onset_s <= elapsed_s]
        self._moments = [event for event in self._moments if event.onset_s > elapsed_s]
        return come
