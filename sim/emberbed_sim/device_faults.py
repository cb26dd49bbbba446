"""What the catalogue's rows for the device do to its clock, its button and its power.

Takes the bench's time in s; gives the port flags a device would see besides the bench's, how long
its tick lasts by its own clock and by the bench's, and the moments at which it hangs or starts
anew. Used alike by the closed loop and by the virtual device. `machine_faults` has the rows that
reach into the firmware's memory.
"""

from collections.abc import Iterable
from typing import NamedTuple

from emberbed_fw.record import PORT_BUTTON, PORT_HEAP_LOW
from emberbed_fw.units import TICK_MS
from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.fault_kind import ON_DEVICE
from emberbed_sim.plant.happenings import Happening, Happenings

BOOT_TICKS = 10  # from reset to the first tick, outputs off; from memory
FLAGS = {"heap_low": PORT_HEAP_LOW, "button_stuck": PORT_BUTTON}


class Pace(NamedTuple):
    """How long a tick lasts: what the device's clock says, and whole ticks of the bench."""

    elapsed_ms: int
    bench_ticks: int


class DeviceFaults:
    """The rows for the device, of one bench; times never go back."""

    def __init__(self, events: Iterable[FaultEvent]) -> None:
        self._happenings = Happenings(events, acts_on=ON_DEVICE)
        self._behind_ms = 0.0  # of the bench's time, not yet made up by whole ticks

    def add(self, events: Iterable[FaultEvent]) -> None:
        """Let these happen too."""
        self._happenings.add(events)

    def __bool__(self) -> bool:
        return bool(self._happenings) or self._behind_ms != 0.0

    def at(self, elapsed_s: float) -> Happening:
        """Return the rows that last, as they are there now."""
        return self._happenings.at(elapsed_s)

    def due(self, elapsed_s: float) -> list[FaultEvent]:
        """Return the moments that have come since the last call."""
        return self._happenings.due(elapsed_s)

    def flags(self, elapsed_s: float) -> int:
        """Return the port flags that are up whatever the bench does."""
        now = self.at(elapsed_s)
        return sum(flag for name, flag in FLAGS.items() if name in now) if now else 0

    def pace(self, elapsed_s: float) -> Pace:
        """Return how long the tick that begins now will last."""
        now = self.at(elapsed_s)
        said_ms = TICK_MS + sum(event.amount for event in now.get("late_ticks", ()))
        slow = sum(event.amount for event in now.get("clock_wrong", ())) / 1000
        self._behind_ms += said_ms * (1 + slow)
        bench_ticks = int(self._behind_ms // TICK_MS)
        self._behind_ms -= bench_ticks * TICK_MS
        return Pace(round(said_ms), bench_ticks)


def hang_ticks(event: FaultEvent) -> int:
    """Return the ticks of the bench for which a device that hangs leaves its outputs alone."""
    return round(event.amount / TICK_MS) if event.name == "device_hangs" else 0
