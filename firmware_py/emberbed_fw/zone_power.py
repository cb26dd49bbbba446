"""Zone power: a demand in q15 becomes one on/off bit a tick, by error diffusion with a least dwell.

What was asked and not yet given is carried on, so the mean power is right over any length. A bit
stays for at least `dwell_ticks` (flicker, relay life), except that no demand is off at once. The
carried error is bounded, so power withheld by the guard is not paid back later. Zones that would
take more together than the socket gives take turns, whoever is owed most first.
"""

from emberbed_fw.integer_math import clamp
from emberbed_fw.units import FULL_POWER_Q15, ZONES

FIRM = 1 << 24  # beyond any power owed: of a bit that has to stay on
NO_CLAIM = 1 << 28  # more than any claim


def within_socket(wanted_zones, powers, watts, socket_watts):
    """Return the bits that the socket bears together: the one owed least waits, and so on.

    One zone alone is never held back: its mean is what its cap allows.
    """
    while wanted_zones & (wanted_zones - 1):
        total = 0
        least = NO_CLAIM
        weakest = 0
        for zone in range(ZONES):
            if wanted_zones >> zone & 1:
                total += watts[zone]
                claim = powers[zone].claim()
                if claim <= least:
                    least = claim
                    weakest = zone
        if total <= socket_watts:
            break
        wanted_zones &= ~(1 << weakest)
    return wanted_zones


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

    def claim(self):
        """Return how much this zone's bit is worth where not all can be on: power owed, and first
        of all a bit that has not been on for its least time."""
        if self._was_on and self._same_ticks < self._dwell_ticks:
            return FIRM + self._owed_q15
        return self._owed_q15

    def driven(self, on):
        """Take note of what the zone was really given this tick (0 or 1)."""
        if on:
            self._owed_q15 -= FULL_POWER_Q15
        self._same_ticks = self._same_ticks + 1 if on == self._was_on else 1
        self._was_on = on
