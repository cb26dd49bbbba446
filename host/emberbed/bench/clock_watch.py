"""Holds a device's clock against this computer's: stages, limits and leases all count its ticks.

`follow` takes each record as it comes and may have something to tell; `wants_stop` then asks for
the heat to go off. Only for devices that keep their own time: a simulated one runs as fast as it is
let. The bound is that of the fault lists for controllers (two clocks more than 2 % apart).
"""

import time
from collections.abc import Callable

from emberbed.records import TickRecord
from emberbed_fw.units import TICKS_PER_S

MOST_APART = 0.02
LEAST_S = 60.0  # a shorter stretch says more about the cable than about the clock
JITTER_S = 0.5  # of records on their way


class ClockWatch:
    """One run. `now_s` is a clock that only goes forward, in seconds."""

    def __init__(self, now_s: Callable[[], float] = time.monotonic) -> None:
        self._now_s = now_s
        self._first: tuple[float, int] | None = None
        self._newest_tick = 0
        self.wants_stop = False

    def follow(self, record: TickRecord) -> list[tuple[int, str, str]]:
        """Take one record; return (tick, kind, sentence) when the clocks have come apart."""
        now_s = self._now_s()
        gap = record.tick != self._newest_tick + 1
        self._newest_tick = record.tick
        if self._first is None or gap:  # readings that come late say nothing of the clock
            self._first = (now_s, record.tick)
            return []
        here_s, device_s = now_s - self._first[0], (record.tick - self._first[1]) / TICKS_PER_S
        if self.wants_stop or here_s < LEAST_S:
            return []
        apart_s = abs(device_s - here_s)
        if apart_s <= MOST_APART * here_s + JITTER_S:
            return []
        self.wants_stop = True
        faster = "fast" if device_s > here_s else "slow"
        percent = 100 * abs(device_s / here_s - 1)
        return [
            (
                record.tick,
                "clock",
                f"The device's clock is {percent:.0f} % {faster}: its times and rates are wrong,"
                " so the heat goes off. Reset the device; if it stays so, its crystal is bad.",
            )
        ]
