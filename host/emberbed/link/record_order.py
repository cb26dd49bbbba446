"""Puts records into the order of their ticks: each once, none skipped without saying so.

Takes records as they come off the wire, hands on those whose turn it is, keeps the others until the
missing ones arrive or are given up as a `Gap`. Pure: no bytes, no time.
"""

from emberbed.link.events import Event, Gap, Record


class RecordOrder:
    """`next_tick` is the tick whose turn it is, `newest_tick` the newest known to exist."""

    def __init__(self) -> None:
        self.next_tick = 0
        self.newest_tick = -1
        self._early: dict[int, Record] = {}

    def start(self, next_tick: int, newest_tick: int) -> None:
        """Begin anew at `next_tick`; ticks up to `newest_tick` already exist on the device."""
        self.next_tick = next_tick
        self.newest_tick = newest_tick
        self._early.clear()

    @property
    def missing(self) -> bool:
        """Tell whether a tick that exists has not come yet."""
        return self.next_tick <= self.newest_tick

    def take(self, record: Record, events: list[Event]) -> None:
        """Take one record off the wire; append to `events` all whose turn has come."""
        if record.tick > self.newest_tick:
            self.newest_tick = record.tick
        if record.tick == self.next_tick:
            events.append(record)
            self.next_tick += 1
            if self._early:
                self._hand_on(events)
        elif record.tick > self.next_tick:
            self._early.setdefault(record.tick, record)

    def skip_to(self, tick: int) -> None:
        """Leave out the ticks before `tick`: the device kept none of them."""
        self.next_tick = max(self.next_tick, tick)

    def give_up(self, events: list[Event], before: int | None = None) -> None:
        """Append the gap up to the next record that did come, or to tick `before` if that is
        sooner; then the records whose turn has come by it."""
        end = min(self._early, default=self.newest_tick + 1)
        if before is not None:
            end = min(end, before)
        events.append(Gap(self.next_tick, end - 1))
        self.next_tick = end
        self._hand_on(events)

    def _hand_on(self, events: list[Event]) -> None:
        while self.next_tick in self._early:
            events.append(self._early.pop(self.next_tick))
            self.next_tick += 1
