"""What a run has shown so far of its board: heat that was driven and what the control sensor read.

Takes decoded records one by one, keeps columns from the first heat on, gives them as `Measured`.
Seconds since the first heat, parts of full power, degrees C.
"""

from collections.abc import Iterable

import numpy as np

from emberbed.heater.step_data import SWITCHED, Measured
from emberbed.records import TickRecord
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S

ZONE_BIT = 1  # zone 0, the one that is controlled


class Seen:
    """Columns of one run; a tick without a reading leaves a gap."""

    def __init__(self, control: int) -> None:
        self._control = control
        self._first_tick: int | None = None
        self._seconds: list[float] = []
        self._driven: list[float] = []
        self._celsius: list[float] = []

    def follow(self, record: TickRecord) -> None:
        """Take the next record, from the press on."""
        if self._first_tick is None:
            if record.state not in rs.HEATING_STATES:
                return
            self._first_tick = record.tick
        cdeg = record.channel_cdeg(self._control)
        if cdeg is None:
            return
        self._seconds.append((record.tick - self._first_tick) / TICKS_PER_S)
        self._driven.append(float(bool(record.driven_zones & ZONE_BIT)))
        self._celsius.append(cdeg / 100)

    def measured(self) -> Measured:
        """Return everything so far; it does not change when more records come."""
        rows = len(self._seconds)
        return Measured(
            "this run",
            "",
            SWITCHED,
            "driven_zones",
            "control",
            np.array(self._seconds),
            np.array(self._driven),
            np.array(self._celsius),
            np.arange(rows),
            np.zeros(rows),
        )


def seen_of(records: Iterable[TickRecord], control: int) -> Measured:
    """Return what these records show; `control` is the control sensor's channel."""
    seen = Seen(control)
    for record in records:
        seen.follow(record)
    return seen.measured()
