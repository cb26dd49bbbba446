"""One bead: where it sits, how well it touches, how late it is.

Takes the truth in degC and the emitter's net radiation, gives the bead's temperature in degC. Its
lag, and that of the board's thickness below it where the plant has none, are of first order and
exact for what moves in a straight line through the tick.
"""

from collections.abc import Sequence
from math import exp
from typing import NamedTuple

from emberbed_sim.plant.parameters import TICK_S, SensorPlacement


class Pull(NamedTuple):
    """Something else that has hold of a bead: its temperature, and how far it wins (0..1)."""

    held_c: float
    share: float


class Lag:
    """What follows something else by a first-order lag; `now_c` is where it is."""

    def __init__(self, lag_s: float, start_c: float) -> None:
        ticks = TICK_S / lag_s
        self._keeps = exp(-ticks)
        self._follows_ramp = 1 - (1 - self._keeps) / ticks
        self.settle(start_c)

    def settle(self, now_c: float) -> None:
        """Be at this temperature, as if it had been there for long."""
        self.now_c = self._target_c = now_c

    def step(self, target_c: float) -> float:
        """Follow to where the target is at the tick's end; return where that leads."""
        before_c = self._target_c
        self.now_c = (
            before_c
            + (self.now_c - before_c) * self._keeps
            + (target_c - before_c) * self._follows_ramp
        )
        self._target_c = target_c
        return self.now_c


class Thermocouple:
    """A placed bead; `bead_c` is its temperature."""

    def __init__(self, placement: SensorPlacement, start_c: float) -> None:
        self.placement = placement
        self._bead = Lag(placement.lag_s, start_c)
        self._through = Lag(placement.through_s, start_c) if placement.through_s else None

    @property
    def bead_c(self) -> float:
        return self._bead.now_c

    def settle(self, bead_c: float) -> None:
        """Put the bead at this temperature, as if it had been there for long."""
        self._bead.settle(bead_c)
        if self._through:
            self._through.settle(bead_c)

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
        if self._through:
            place_c = self._through.step(place_c)
        if contact is None:
            contact = placement.contact
        target = contact * place_c + (1 - contact) * air_c + placement.stray_ir * radiation_kw_m2
        for pull in pulls:
            target += pull.share * (pull.held_c - target)
        self._bead.step(target)
