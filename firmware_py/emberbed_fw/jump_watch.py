"""Readings that go on rising faster than any board can, or jump within one tick: disturbed.

`disturbed` tells whether this tick's readings may be used for heating, `overdue` whether they have
not for JUMP_TICKS within the last few seconds. One step that stays is no burst: upwards it takes
heat away by itself, downwards lift_watch sees it. A bead that is pressed down again, or that
tweezers let go, rises fast too: while one lifts, and a moment after, nothing counts. Serves H02.
"""

from emberbed_fw.safety_limits import JUMP_CDEG, JUMP_TICKS, RISE_CDEG, STILL_RISES_CDEG
from emberbed_fw.units import CHANNELS, NO_READING_CDEG

SHIFT = 4  # 1.6 s
Q = 6
SETTLE_TICKS = 100
FORGET_TICKS = 5  # good ticks that make up for one disturbed


class JumpWatch:
    STATE = ("disturbed", "score", "_last_cdeg", "_slow_q6", "_settle")

    def __init__(self):
        self._last_cdeg = [NO_READING_CDEG] * CHANNELS
        self._slow_q6 = [0] * CHANNELS
        self.forget()

    def forget(self):
        self.disturbed = 0
        self.score = 0
        self._settle = 0
        for channel in range(CHANNELS):
            self._last_cdeg[channel] = NO_READING_CDEG
            self._slow_q6[channel] = 0

    def step(self, readings, watched, excused):
        """Take one tick; `excused`: hot air or hands explain what readings do."""
        if excused:
            self._settle = SETTLE_TICKS
        elif self._settle > 0:
            self._settle -= 1
        self.disturbed = 0
        for channel in range(CHANNELS):
            cdeg = readings.cdeg[channel]
            if not watched[channel]:
                self._last_cdeg[channel] = NO_READING_CDEG
            elif cdeg != NO_READING_CDEG and self._jumps(channel, cdeg) and not self._settle:
                self.disturbed = 1
        if self.disturbed:
            self.score = min(self.score + FORGET_TICKS, FORGET_TICKS * JUMP_TICKS)
        elif self.score > 0:
            self.score -= 1

    def overdue(self):
        return self.score >= FORGET_TICKS * JUMP_TICKS

    def _jumps(self, channel, cdeg):
        last = self._last_cdeg[channel]
        self._last_cdeg[channel] = cdeg
        if last == NO_READING_CDEG:
            self._slow_q6[channel] = cdeg << Q
            return False
        ahead_q6 = (cdeg << Q) - self._slow_q6[channel]
        self._slow_q6[channel] += ahead_q6 >> SHIFT
        # a first-order filter of 1.6 s trails a steady rise by 1.6 s of it
        rises = ahead_q6 >> Q > RISE_CDEG and cdeg - last > STILL_RISES_CDEG
        return rises or abs(cdeg - last) > JUMP_CDEG
