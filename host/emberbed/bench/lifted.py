"""Which bead seems to lift: the one that has fallen furthest below what it read a while ago.

The device says that one of them does, not which. Keeps one reading a second of the last seconds
before the fall began; takes records in order. Pure.
"""

from collections import deque
from collections.abc import Sequence

from emberbed.records import TickRecord
from emberbed_fw.trip_codes import WITHHELD_LIFTED
from emberbed_fw.units import TICKS_PER_S

KEPT_S = 4  # the device's slow filter takes about 3 s


class LiftedBead:
    """Follows the channels whose beads lie on the board."""

    def __init__(self, channels: Sequence[int]) -> None:
        self._channels = channels
        self._past: deque[list[int | None]] = deque(maxlen=KEPT_S)
        self._now: list[int | None] = []

    def follow(self, record: TickRecord) -> None:
        """Take the next record; while a bead lifts, what was before is kept."""
        self._now = [record.channel_cdeg(channel) for channel in self._channels]
        lifts = record.withheld & WITHHELD_LIFTED
        if not lifts and record.tick % TICKS_PER_S == 0:
            self._past.append(self._now)

    def fallen(self) -> int | None:
        """Return the channel that has fallen furthest, None when nothing has fallen."""
        falls: dict[int, int] = {}
        for at, channel in enumerate(self._channels):
            past = [cdeg for readings in self._past if (cdeg := readings[at]) is not None]
            now = self._now[at]
            if past and now is not None:
                falls[channel] = max(past) - now
        furthest = max(falls, key=lambda channel: falls[channel], default=None)
        return furthest if furthest is not None and falls[furthest] > 0 else None
