"""Zone power: a demand in q15 becomes one on/off bit a tick, by error diffusion with a least dwell.

What was asked and not yet given is carried on, so the mean power is right over any length. A bit
stays for at least `dwell_ticks` (flicker, relay life), except that no demand is off at once. The
carried error is bounded, so power withheld by the guard is not paid back later.
"""

from emberbed_fw.integer_math import clamp
from emberbed_fw.units import FULL_POWER_Q15


class ZonePower:
    """Modulator of one zone."""

    STATE = ("_owed_q15", "_same_ticks", "_was_on")

    def __init__(self, dwell_ticks):
        self._dwell_ticks = dwell_ticks
        # half a tick is carried when a zone goes off, and one more comes with each dwell tick
        self._bound_q15 = FULL_POWER_Q15 * (max(dwell_ticks, 1) + 1)
        self.reset()

    def reset(self):
        self._owed_q15 = 0
        self._same_ticks = self._dwell_ticks
        self._was_on = 0

    def step(self, demand_q15):
        """Return 1 when the zone should be on for this tick."""
        self._owed_q15 = clamp(self._owed_q15 + demand_q15, -self._bound_q15, self._bound_q15)
        if demand_q15 == 0:
            self._owed_q15 = min(self._owed_q15, 0)
            return 0
        if self._same_ticks < self._dwell_ticks:
            return self._was_on
        return 1 if self._owed_q15 * 2 > FULL_POWER_Q15 else 0

    def driven(self, on):
        """Take note of what the zone was really given this tick (0 or 1)."""
        if on:
            self._owed_q15 -= FULL_POWER_Q15
        self._same_ticks = self._same_ticks + 1 if on == self._was_on else 1
        self._was_on = on
