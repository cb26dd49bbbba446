"""One bead: where it sits, how well it touches, how late it is.

Takes the truth in degC and the emitter's net radiation, gives the bead's temperature in degC. The
lag is first order and exact for a place that moves in a straight line through the tick.
"""

from math import exp

from emberbed_sim.plant.parameters import TICK_S, SensorPlacement


class Thermocouple:
    """A placed bead; `bead_c` is its temperature."""

    def __init__(self, placement: SensorPlacement, start_c: float) -> None:
        self.placement = placement
        self.bead_c = start_c
        self._target_c = start_c
        ticks = TICK_S / placement.lag_s
        self._keeps = exp(-ticks)
        self._follows_ramp = 1 - (1 - self._keeps) / ticks

    def step(self, place_c: float, air_c: float, radiation_kw_m2: float) -> None:
        """Follow the place (degC), the air where contact is poor, and stray radiation."""
        placement = self.placement
        target = (
            placement.contact * place_c
            + (1 - placement.contact) * air_c
            + placement.stray_ir * radiation_kw_m2
        )
        before = self._target_c
        self.bead_c = (
            before + (self.bead_c - before) * self._keeps + (target - before) * self._follows_ramp
        )
        self._target_c = target
