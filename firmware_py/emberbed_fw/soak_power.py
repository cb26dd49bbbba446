"""The power a zone needs to hold its temperature, learned while it holds: an average over a minute.

Under hot air from above the bottom heater stays within a quarter of it: a controller that sees the
hot air would cut the bottom heat, and the board would bow. The first half minute of a plateau still
shows the ramp before it and does not count; what was learned at another plateau is forgotten.
"""

from emberbed_fw.integer_math import divide_round
from emberbed_fw.units import FULL_POWER_Q15

SHIFT = 9  # 2**9 ticks, 51 s
BAND_SHIFT = 2  # a quarter
SETTLE_TICKS = 300
LEARN_TICKS = 300  # after that many more the average means something
NEAR_CDEG = 300  # only a board that is where it should be tells what holds it
UNLEARNED_MOST_Q15 = FULL_POWER_Q15 * 3 // 10  # a board at its soak needs less; proposal


class SoakPower:
    STATE = ("_mean_scaled", "_ticks", "_level_cdeg")

    def __init__(self):
        self.reset()

    def reset(self):
        self._mean_scaled = 0  # q15 of full power, times 2**SHIFT
        self._ticks = 0  # of holding
        self._level_cdeg = 0

    def observe(self, demand_q15, setpoint_cdeg, measured_cdeg):
        """Take the demand of one tick of holding: a plain mean at first, then a running one."""
        if setpoint_cdeg != self._level_cdeg:
            self.reset()
            self._level_cdeg = setpoint_cdeg
        if abs(measured_cdeg - setpoint_cdeg) > NEAR_CDEG:
            return
        if self._ticks < SETTLE_TICKS + LEARN_TICKS:
            self._ticks += 1
        counted = self._ticks - SETTLE_TICKS
        if counted <= 0:
            return
        off_scaled = (demand_q15 << SHIFT) - self._mean_scaled
        if counted < LEARN_TICKS:
            self._mean_scaled += divide_round(off_scaled, counted)
        else:
            self._mean_scaled += off_scaled >> SHIFT

    def mean_q15(self):
        return self._mean_scaled >> SHIFT

    def has_learned(self):
        return self._ticks == SETTLE_TICKS + LEARN_TICKS

    def least_q15(self):
        """Return the lower end of the band; nothing where nothing has been learned yet."""
        mean = self.mean_q15()
        return mean - (mean >> BAND_SHIFT) if self.has_learned() else 0

    def most_q15(self):
        """Return the upper end of the band; little power where nothing has been learned yet."""
        mean = self.mean_q15()
        return mean + (mean >> BAND_SHIFT) if self.has_learned() else UNLEARNED_MOST_Q15
