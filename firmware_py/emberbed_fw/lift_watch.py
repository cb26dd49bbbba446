"""Sees a bead lift off a heated board: it falls faster than any board can cool.

Two filters per channel, about 0.4 s and 3.2 s; the slow one stands still while a bead is suspected,
so that it remembers what the board had. `step` once a tick; `lifting` then tells which channels are
suspected (bits) and `overdue` whether one has been for LIFT_TICKS. After that trip `await_return`
sees a pressed-down bead by its rise: with the heat off nothing else rises. Serves hazard H02.
"""

from emberbed_fw.safety_limits import (
    LIFT_AIR_DROP_CDEG,
    LIFT_BACK_CDEG,
    LIFT_DROP_CDEG,
    LIFT_TICKS,
)
from emberbed_fw.units import CHANNELS, NO_READING_CDEG

FAST_SHIFT = 2
SLOW_SHIFT = 5
FILTER_Q = 6
BACK_TICKS = 10
COOLING_Q6 = 15 << FILTER_Q  # no board cools faster than 1.5 degC in a second of 10 ticks
COMES_BACK_Q6 = 50 << FILTER_Q  # ahead of the fast filter: it rises by 1.7 degC a second
AIR_COOLING_Q6 = 5 << FILTER_Q  # 0.5 degC a second: a light board of 150 degC without any heat


class LiftWatch:
    STATE = ("lifting", "overdue", "_fast_q6", "_slow_q6", "_level_q6", "_lifted_ticks")

    def __init__(self):
        self._fast_q6 = [0] * CHANNELS
        self._slow_q6 = [0] * CHANNELS
        self._level_q6 = [0] * CHANNELS  # the least that a lifted bead's board can have now
        self._lifted_ticks = [0] * CHANNELS  # since a bead is suspected; 0 = it is not
        self.forget()

    def forget(self):
        """Begin anew from the next readings."""
        self.lifting = 0
        self.overdue = 0
        for channel in range(CHANNELS):
            self._fast_q6[channel] = 0
            self._slow_q6[channel] = NO_READING_CDEG
            self._level_q6[channel] = 0
            self._lifted_ticks[channel] = 0

    def step(self, readings, watched, air):
        """Take one tick. `watched[channel]`: this channel's bead lies on the board. `air`: hot air
        is on, or was: readings may fall fast, but not far below what the board had before it."""
        self.lifting = 0
        self.overdue = 0
        for channel in range(CHANNELS):
            if not watched[channel]:
                self._slow_q6[channel] = NO_READING_CDEG
            elif readings.cdeg[channel] != NO_READING_CDEG:
                self._step_channel(channel, readings.cdeg[channel] << FILTER_Q, air)

    def await_return(self, readings):
        """Take one tick after the trip. A bead that rises again by LIFT_BACK_CDEG, to what its
        board may still have, is back; one that falls faster than a board cools is off again."""
        for channel in range(CHANNELS):
            cdeg = readings.cdeg[channel]
            if self._lifted_ticks[channel] == 0 or cdeg == NO_READING_CDEG:
                continue
            self._fast_q6[channel] += ((cdeg << FILTER_Q) - self._fast_q6[channel]) >> FAST_SHIFT
            self._level_q6[channel] -= COOLING_Q6
            self._await_channel(channel, self._fast_q6[channel])

    def _await_channel(self, channel, fast_q6):
        bit = 1 << channel
        if self.lifting & bit:
            self._slow_q6[channel] = min(self._slow_q6[channel], fast_q6)  # the lowest since
            risen = (fast_q6 - self._slow_q6[channel]) >> FILTER_Q > LIFT_BACK_CDEG
            if risen and fast_q6 >= self._level_q6[channel]:
                self.lifting &= ~bit
                self._slow_q6[channel] = fast_q6
            return
        self._slow_q6[channel] = max(self._slow_q6[channel] - COOLING_Q6, fast_q6)
        if (self._slow_q6[channel] - fast_q6) >> FILTER_Q > LIFT_DROP_CDEG:
            self.lifting |= bit
            self._slow_q6[channel] = fast_q6

    def _step_channel(self, channel, cdeg_q6, air):
        if self._slow_q6[channel] == NO_READING_CDEG:
            self._fast_q6[channel] = cdeg_q6
            self._slow_q6[channel] = cdeg_q6
            return
        self._fast_q6[channel] += (cdeg_q6 - self._fast_q6[channel]) >> FAST_SHIFT
        fast_q6 = self._fast_q6[channel]
        fallen = (self._slow_q6[channel] - fast_q6) >> FILTER_Q
        ticks = self._lifted_ticks[channel]
        if fallen > (LIFT_BACK_CDEG if ticks else LIFT_AIR_DROP_CDEG if air else LIFT_DROP_CDEG):
            # one that tweezers have let go, and that is on its way back, is given the time for it
            comes_back = ticks > 0 and cdeg_q6 - fast_q6 > COMES_BACK_Q6
            ticks = ticks if comes_back else min(ticks + 1, LIFT_TICKS)
        elif ticks:
            ticks = min(ticks, BACK_TICKS) - 1  # it has to stay down for a moment
        if ticks:
            self._level_q6[channel] = self._slow_q6[channel] - (LIFT_DROP_CDEG << FILTER_Q)
            self.lifting |= 1 << channel
            if ticks >= LIFT_TICKS:
                self.overdue = 1
        if air:  # what the board had before the hot air is remembered, as it may cool by itself
            if not ticks:
                least_q6 = self._slow_q6[channel] - AIR_COOLING_Q6
                self._slow_q6[channel] = max(least_q6, min(self._slow_q6[channel], fast_q6))
        elif fast_q6 > self._slow_q6[channel]:
            self._slow_q6[channel] += (fast_q6 - self._slow_q6[channel]) >> FAST_SHIFT
        elif not ticks:
            self._slow_q6[channel] += (cdeg_q6 - self._slow_q6[channel]) >> SLOW_SHIFT
        self._lifted_ticks[channel] = ticks
