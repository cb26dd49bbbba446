"""A reading that does not move although the board must: stuck in the converter or on the bus.

Counts equal readings per channel and adds up, from the guard's own heater, by how much the board
must have changed meanwhile; a quiet converter of 0.25 degC repeats itself on a board that stands
still, but not for STUCK_ALONE_TICKS. Serves hazard H02.
"""

from emberbed_fw.safety_limits import STUCK_ALONE_TICKS, STUCK_MOVED_MK, STUCK_TICKS
from emberbed_fw.units import CHANNELS, NO_READING_CDEG

Q = 6


class StuckWatch:
    STATE = ("_last_cdeg", "_same_ticks", "_must_q6")

    def __init__(self):
        self._last_cdeg = [NO_READING_CDEG] * CHANNELS
        self._same_ticks = [0] * CHANNELS
        self._must_q6 = [0] * CHANNELS
        self.forget()

    def forget(self):
        for channel in range(CHANNELS):
            self._last_cdeg[channel] = NO_READING_CDEG
            self._same_ticks[channel] = 0
            self._must_q6[channel] = 0

    def step(self, readings, watched, must_q6):
        """Take one tick; return whether a reading is stuck. `must_q6`: by how much the board must
        have moved in this tick at least, up or down, in 1/64 mK."""
        stuck = False
        for channel in range(CHANNELS):
            cdeg = readings.cdeg[channel]
            if not watched[channel] or cdeg != self._last_cdeg[channel]:
                self._last_cdeg[channel] = cdeg
                self._same_ticks[channel] = 0
                self._must_q6[channel] = 0
                continue
            self._same_ticks[channel] = min(self._same_ticks[channel] + 1, STUCK_ALONE_TICKS)
            self._must_q6[channel] = max(min(self._must_q6[channel] + must_q6, MOST_Q6), -MOST_Q6)
            moved = abs(self._must_q6[channel]) >> Q >= STUCK_MOVED_MK
            same = self._same_ticks[channel]
            if cdeg != NO_READING_CDEG and same >= (STUCK_TICKS if moved else STUCK_ALONE_TICKS):
                stuck = True
        return stuck


MOST_Q6 = 100 * STUCK_MOVED_MK << Q
