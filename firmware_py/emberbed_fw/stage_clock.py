"""The clock of one stage: how far it is, what the plan wants now, whether the stage is done.

Takes the board in the profile's degrees, the prompt that was acknowledged and the `brake` of
pace.py; gives `stage_tick`, `waits_for`, `prompt` and the planned setpoint. Knows no longest time
and no person's changes: the sequencer does.
"""

from emberbed_fw import knots
from emberbed_fw import plan as plans
from emberbed_fw.run_states import (
    WAITS_AIR_AWAY,
    WAITS_BAND,
    WAITS_BOARD,
    WAITS_NOTHING,
    WAITS_OPERATOR,
    WAITS_SPREAD,
)
from emberbed_fw.units import NO_READING_CDEG, NONE

AIR_AWAY_PROMPT = 253  # hot air is on: answered when it is away
# A ramp that follows on from the stage before begins at its beginning, with what its emitters need
# first, if the board is this near.
NEAR_CDEG = 500
FOLLOWS_CDEG = 100  # its first setpoint from the last one before
FOLLOW_ON = (plans.RAMP, plans.HOLD)  # whose ends are known
SLOW_TICKS = 4  # an uneven board's ramp goes at a quarter of its rate


class StageClock:
    STATE = (
        "stage", "stage_tick", "stage_elapsed", "waits_for", "prompt", "air_on", "extra_ticks",
        "too_hot", "_planned_cdeg", "_knot",
    )

    def __init__(self, plan):
        self._plan = plan
        self.reset()

    def reset(self):
        """Stand before the first stage."""
        self.stage = NONE
        self._planned_cdeg = NO_READING_CDEG
        self._knot = 0
        self._begin_counting()

    def _begin_counting(self):
        self.stage_tick = 0
        self.stage_elapsed = 0
        self.waits_for = WAITS_NOTHING
        self.too_hot = 0  # the board is above the band of a hold, whose clock stands for it
        self.prompt = NONE
        self.air_on = 0  # hot air from above, as the operator said
        self.extra_ticks = 0  # that a person has added to this stage

    def kind(self):
        return self._plan.stage["kind"][self.stage]

    def asks(self):
        """Tell whether the running stage waits for the operator to begin or to answer."""
        kind = self.kind()
        return kind == plans.WAIT or (kind == plans.HOT_AIR and not self.air_on)

    def asks_for_nozzle(self):
        """Tell whether it is the operator's answer that the nozzle is on which is waited for."""
        stage_prompt = self._plan.stage["prompt"][self.stage]
        return self.kind() == plans.HOT_AIR and self.asks() and self.prompt == stage_prompt

    def _stage_done(self, measured, acknowledged, brake):
        kind = self.kind()
        if kind == plans.RAMP:
            return self._ramp(measured, brake)
        if kind == plans.HOLD:
            return self._hold(measured, brake)
        if kind == plans.POWER:
            return self._power(measured, brake)
        if kind == plans.HOT_AIR and self.air_on:
            return self._hot_air(acknowledged)
        return self._wait(acknowledged)

    def _ramp(self, measured, brake):
        target = self._plan.stage["target_cdeg"][self.stage]
        last_tick = self._plan.knot["tick"][self._last_knot()]
        first = self._plan.stage["first_knot"][self.stage]
        sign = 1 if target >= self._plan.knot["setpoint_cdeg"][first] else -1
        behind = sign * (self._on_plan() - measured)
        slowed = brake == WAITS_SPREAD
        self.waits_for = brake
        if behind > self._plan.stage["hold_back_cdeg"][self.stage] and (slowed or not brake):
            self.waits_for = WAITS_BOARD
        elif not brake or (slowed and self.stage_elapsed % SLOW_TICKS == 0):
            self.stage_tick = min(self.stage_tick + 1, last_tick)
        self._planned_cdeg = self._on_plan()
        if self.stage_tick < last_tick:
            return False
        return sign * (target - measured) <= self._plan.stage["band_cdeg"][self.stage]

    def _hold(self, measured, brake):
        target = self._plan.stage["target_cdeg"][self.stage]
        band = self._plan.stage["band_cdeg"][self.stage]
        self.waits_for = brake
        self.too_hot = 1 if measured - target > band else 0
        if not brake and abs(measured - target) > band:
            self.waits_for = WAITS_BAND
        if self.waits_for == WAITS_NOTHING:
            self.stage_tick += 1
        self._planned_cdeg = self._on_plan()
        return self.stage_tick >= self._plan.knot["tick"][self._last_knot()] + self.extra_ticks

    def _power(self, measured, brake):
        """Open loop for a time, or until the board is at the limit given with it."""
        self.stage_tick += 1
        self.waits_for = WAITS_NOTHING if brake == WAITS_SPREAD else brake
        return (self.stage_tick >= self._plan.knot["tick"][self._last_knot()]
                or self.stage_elapsed >= self._plan.stage["longest_ticks"][self.stage]
                or not measured < self._plan.stage["target_cdeg"][self.stage])

    def _wait(self, acknowledged):
        """Wait for the answer; in a HOT_AIR stage it says that the nozzle is on."""
        self.stage_tick += 1
        self.waits_for = WAITS_OPERATOR
        self.prompt = self._plan.stage["prompt"][self.stage]
        answered = acknowledged != NONE and acknowledged == self.prompt
        if answered and self.kind() == plans.HOT_AIR:
            self.air_on = 1
            self.stage_tick = 0
            self.prompt = AIR_AWAY_PROMPT
            self.waits_for = WAITS_AIR_AWAY
            return False
        return answered

    def _hot_air(self, acknowledged):
        self.stage_tick += 1
        self.waits_for = WAITS_AIR_AWAY
        if self.prompt == NONE:
            self.prompt = AIR_AWAY_PROMPT
        return acknowledged == AIR_AWAY_PROMPT

    def _return_to_plan(self, measured):
        """Take the plan's setpoint again; a ramp begins where the board is."""
        if self.kind() == plans.RAMP:
            self._knot = self._plan.stage["first_knot"][self.stage]
            self.stage_tick = 0
            if not self._follows_on(measured):
                self.stage_tick = knots.tick_of(self._plan, self._knot, self._last_knot(), measured)
        self._planned_cdeg = self._on_plan()

    def _follows_on(self, measured):
        begins_cdeg = self._plan.knot["setpoint_cdeg"][self._knot]
        follows = abs(begins_cdeg - self._planned_cdeg) <= FOLLOWS_CDEG
        return follows and abs(measured - begins_cdeg) <= NEAR_CDEG

    def planned_ahead_q15(self, zone, ticks):
        """Return a zone's feedforward `ticks` from now as if nothing waited; 0 beyond the ramps
        and holds that follow on from here."""
        plan = self._plan
        stage, knot = self.stage, self._knot
        tick, more = self.stage_tick + ticks, self.extra_ticks
        while plan.stage["kind"][stage] in FOLLOW_ON:
            last = plan.stage["first_knot"][stage] + plan.stage["knots"][stage] - 1
            left = tick - plan.knot["tick"][last] - more
            if left < 0:
                return knots.feedforward_q15(
                    plan, zone, knots.knot_at(plan, knot, last, tick), last, tick)
            tick, more = left, 0
            stage += 1
            knot = plan.stage["first_knot"][stage]
        return 0

    def _last_knot(self):
        columns = self._plan.stage
        return columns["first_knot"][self.stage] + columns["knots"][self.stage] - 1

    def _on_plan(self):
        """Return the plan's setpoint at `stage_tick`, on the line between two knots."""
        last = self._last_knot()
        self._knot = knots.knot_at(self._plan, self._knot, last, self.stage_tick)
        return knots.setpoint_cdeg(self._plan, self._knot, last, self.stage_tick)
