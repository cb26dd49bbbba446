"""Heat that a weak heater must give early: what its plan asks for beyond full power.

A heater that needs more than its plan foresaw (heat_need.py) cannot give more than all it has, and
would come late to every ramp. This looks along the ramps and holds ahead, one point a tick from the
furthest to now: what is beyond full power at a point is carried towards now, a little less of it
with each point, until there is room for it. Nothing is carried across a stage that waits for a
person or is open loop: nobody knows when it ends.
"""

POINTS, POINT_TICKS = 16, 40  # 64 s ahead, seen anew every 1.6 s
KEPT_Q8 = 207  # of what is carried from point to point: emitters and board do not keep it all
GIVEN_Q8 = 300  # of what has come to now; both were tuned on drawn heaters
ONE_Q12 = 4096  # a heater that needs what is planned


class EarlyHeat:
    """Of one zone; `on_top_of` its feedforward comes `power_q15`, up to `most_q15`."""

    STATE = ("power_q15", "_carried_q15", "_point")

    def __init__(self, zone, most_q15):
        self._zone = zone
        self._most_q15 = most_q15
        self.reset()

    def reset(self):
        self.power_q15 = 0
        self._carried_q15 = 0
        self._point = POINTS

    def on_top_of(self, needed_q15):
        """Return a feedforward with this, never below it: what is beyond the most stays."""
        return max(needed_q15, min(needed_q15 + self.power_q15, self._most_q15))

    def step(self, sequencer, factor_q12):
        """Take one tick: the heater needs `factor_q12` of what is planned."""
        if factor_q12 <= ONE_Q12 or sequencer.off_plan():
            self.reset()
            return
        planned_q15 = sequencer.planned_ahead_q15(self._zone, self._point * POINT_TICKS)
        beyond_q15 = (planned_q15 * factor_q12 >> 12) - self._most_q15
        self._carried_q15 = max((self._carried_q15 * KEPT_Q8 >> 8) + beyond_q15, 0)
        self._point -= 1
        if self._point == 0:
            self.power_q15 = self._carried_q15 * GIVEN_Q8 >> 8
            self._carried_q15 = 0
            self._point = POINTS
