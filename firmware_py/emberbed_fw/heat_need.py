"""How much more or less power a heater needs than its plan foresaw: one factor, from the ramps.

The power asked for so far, over what the plan would have given by the time at which it has the
board where the board is now. Mass, mains and emissivity all come out in it, within bounds. `step`
once a tick that was driven as asked; `corrected` gives a feedforward times the factor, with what a
weak heater must give early (early_heat.py). What the plan does not know ends the learning: a warm
start, a person's change, a stage that waits for one, hot air. Without a planned feedforward nothing
is learned. Sums count a 32nd of q15, so that a day fits a small int.
"""

from emberbed_fw import knots
from emberbed_fw import plan as plans
from emberbed_fw.early_heat import ONE_Q12, EarlyHeat
from emberbed_fw.integer_math import clamp
from emberbed_fw.units import NONE

FACTOR_LEAST_Q12 = 3072  # 0.75
FACTOR_MOST_Q12 = 5325  # 1.3
SUM_SHIFT = 5
ENOUGH = 40960  # 4 s of full power planned: before it emitters warm, and nothing is told
ENOUGH_CDEG = 100  # that the plan has risen by, against noise and a converter's steps
SMOOTH_SHIFT = 4  # 1.6 s
COLD_TICKS = 20  # a run that begins further on in its plan has a board that is warm already
MOST_MOVES = 4  # of the place in the plan in a tick


class HeatNeed:
    """Of one zone; `factor_q12` is what its feedforward is multiplied by."""

    STATE = ("factor_q12", "_smooth_q12", "_asked", "_planned", "_there", "_tick", "_knot",
             "_stage", "_start_cdeg", "_learns")

    def __init__(self, plan, zone):
        self._plan = plan
        self._zone = zone
        self.early = EarlyHeat(zone, plan.header["cap%d_q15" % zone])
        self.reset(0)

    def reset(self, start_cdeg):
        self.factor_q12 = ONE_Q12
        self._smooth_q12 = ONE_Q12
        self._asked = 0
        self._planned = 0
        self._there = 0  # planned until the board's place in the plan
        self._tick = 0  # that place, in the running ramp
        self._knot = 0
        self._stage = NONE
        self._start_cdeg = start_cdeg
        self._learns = 1
        self.early.reset()

    def stop(self):
        """Learn nothing more in this run; the factor stays."""
        self._learns = 0

    def corrected(self, feedforward_q15):
        """Return what the heater needs for this feedforward, with what it must give early."""
        return self.early.on_top_of(feedforward_q15 * self.factor_q12 >> 12)

    def step(self, sequencer, feedforward_q15, demand_q15, board_cdeg):
        """Take one tick: the plan's feedforward, the demand, and the board without noise."""
        self.early.step(sequencer, self.factor_q12)
        kind = sequencer.kind()
        follows = not (sequencer.off_plan() or sequencer.offset_cdeg or sequencer.lead.climbs())
        if not follows or (kind != plans.RAMP and kind != plans.HOLD):
            self.stop()
        if not self._learns or (self._planned == 0 and feedforward_q15 == 0):
            return
        self._planned += feedforward_q15 >> SUM_SHIFT
        self._asked += demand_q15 >> SUM_SHIFT
        if sequencer.stage != self._stage:
            self._enter(sequencer)
        if kind == plans.RAMP:
            self._move_to(board_cdeg)
            risen_cdeg = sequencer.setpoint_cdeg - self._start_cdeg
            if self._there > ENOUGH and risen_cdeg > ENOUGH_CDEG:
                self._learn()

    def _enter(self, sequencer):
        if self._stage == NONE and (sequencer.stage > 0 or sequencer.stage_tick > COLD_TICKS):
            self.stop()
        self._stage = sequencer.stage
        self._tick = 0
        self._knot = self._plan.stage["first_knot"][self._stage]
        self._there = self._planned

    def _learn(self):
        now_q12 = clamp(self._asked // (self._there >> 8), 128, 512) << 4
        self._smooth_q12 += (now_q12 - self._smooth_q12) >> SMOOTH_SHIFT
        self.factor_q12 = clamp(self._smooth_q12, FACTOR_LEAST_Q12, FACTOR_MOST_Q12)

    def _move_to(self, board_cdeg):
        """Go on or back to where the plan's setpoint is what the board has, a few ticks at most."""
        last = self._last_knot()
        last_tick = self._plan.knot["tick"][last]
        for _move in range(MOST_MOVES):
            if self._tick < last_tick and self._setpoint(self._tick, last) < board_cdeg:
                self._there += self._power(last)
                self._tick += 1
            elif self._tick > 0 and self._setpoint(self._tick - 1, last) >= board_cdeg:
                self._tick -= 1
                self._there -= self._power(last)
            else:
                return

    def _last_knot(self):
        columns = self._plan.stage
        return columns["first_knot"][self._stage] + columns["knots"][self._stage] - 1

    def _setpoint(self, tick, last):
        self._seek(tick, last)
        return knots.setpoint_cdeg(self._plan, self._knot, last, tick)

    def _power(self, last):
        """Return what the plan gives in the tick of now, as the sums count."""
        self._seek(self._tick, last)
        power_q15 = knots.feedforward_q15(self._plan, self._zone, self._knot, last, self._tick)
        return power_q15 >> SUM_SHIFT

    def _seek(self, tick, last):
        while self._knot > 0 and self._plan.knot["tick"][self._knot] > tick:
            self._knot -= 1
        self._knot = knots.knot_at(self._plan, self._knot, last, tick)
