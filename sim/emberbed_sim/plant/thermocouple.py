"""One bead: where it sits, how well it touches, how late it is.

Takes the truth in degC and the emitter's net radiation, gives the bead's temperature in degC. The
lag is first order and exact for a place that moves in a straight line through the tick.
"""

from collections.abc import Sequence
from math import exp
from typing import NamedTuple

from emberbed_sim.plant.parameters import TICK_S, SensorPlacement


class Pull(NamedTuple):
    """Something else that has hold of a bead: its temperature, and how far it wins (0..1)."""

    held_c: float
    share: float


class Thermocouple:
    """A placed bead; `bead_c` is its temperature."""

    def __init__(self, placement: SensorPlacement, start_c: float) -> None:
        self.placement = placement
        ticks = TICK_S / placement.lag_s
        self._keeps = exp(-ticks)
        self._follows_ramp = 1 - (1 - self._keeps) / ticks
        self.settle(start_c)

    def settle(self, bead_c: float) -> None:
        """Put the bead at this temperature, as if it had been there for long."""
        self.bead_c = self._target_c = bead_c

    def step(
        self,
        place_c: float,
        air_c: float,
        radiation_kw_m2: float,
        contact: float | None = None,
        pulls: Sequence[Pull] = (),
    ) -> None:
        """Follow the place (degC), the air where contact is poor, stray radiation, and what has
        hold of the bead; `contact` (0..1) is the placement's unless given."""
        placement = self.placement
        if contact is None:
            contact = placement.contact
        target = contact * place_c + (1 - contact) * air_c + placement.stray_ir * radiation_kw_m2
        for pull in pulls:
            target += pull.share * (pull.held_c - target)
        before = self._target_c
        self.bead_c = (
            before + (self.bead_c - before) * self._keeps + (target - before) * self._follows_ramp
        )
        self._target_c = target
