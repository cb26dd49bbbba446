"""Two beads fixed within 10 mm of each other: they must agree.

Learns their usual difference in the first hold that is reached, while they agree (at most
PAIR_OFFSET_CDEG), and wants them within PAIR_APART_CDEG and five per cent. `apart` counts the ticks
in which they were not. Serves hazard H02: of all checks this is the one that sees slow faults.
"""

from emberbed_fw import safety_limits
from emberbed_fw.integer_math import clamp
from emberbed_fw.plan import ROLE_PAIR
from emberbed_fw.units import CHANNELS, NO_READING_CDEG

LEARN_TICKS = 300  # of a hold inside its band
SHIFT = 6


class PairWatch:
    STATE = ("apart", "_offset_q6", "_held_ticks")

    def __init__(self):
        self._offset_q6 = [0] * CHANNELS  # by the channel of the pair's second bead
        self._held_ticks = [0] * CHANNELS
        self.forget()

    def forget(self):
        self.apart = 0
        for channel in range(CHANNELS):
            self._offset_q6[channel] = 0
            self._held_ticks[channel] = 0

    def step(self, readings, plan, holds, air):
        """Take one tick. `holds`: the board stands at its level; `air`: hot air is on, or was, and
        beads in its jet say nothing about their partners."""
        disagree = 0
        for channel in range(CHANNELS):
            if plan.role[channel] == ROLE_PAIR and not (air and self._in_air(plan, channel)):
                disagree |= self._judge(readings, channel, plan.partner[channel], holds)
        self.apart = self.apart + 1 if disagree else 0

    def _in_air(self, plan, channel):
        return plan.in_jet[channel] or plan.in_jet[plan.partner[channel]]

    def _judge(self, readings, channel, partner, holds):
        one, other = readings.cdeg[partner], readings.cdeg[channel]
        if one == NO_READING_CDEG or other == NO_READING_CDEG:
            return 0  # a doubtful reading is judged elsewhere
        warmer = max(one, other, 0)
        allowed = safety_limits.PAIR_APART_CDEG + warmer * safety_limits.PAIR_PERCENT // 100
        if abs(one - other - (self._offset_q6[channel] >> SHIFT)) > allowed:
            return 1
        if holds and self._held_ticks[channel] < LEARN_TICKS:
            self._learn(channel, one - other)
        return 0

    def _learn(self, channel, difference):
        most = safety_limits.PAIR_OFFSET_CDEG << SHIFT
        off_q6 = clamp(difference << SHIFT, -most, most) - self._offset_q6[channel]
        self._offset_q6[channel] += off_q6 >> SHIFT
        self._held_ticks[channel] += 1
