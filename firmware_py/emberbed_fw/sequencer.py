"""The plan's clock: which stage, which setpoint, and what it waits for.

RAMP: the clock waits while the board is more than hold-back behind; ends at the target within the
band. HOLD: the clock counts only inside the band (a guaranteed soak). WAIT: holds until its prompt
is acknowledged and never advances by itself. COOL: heat off, ends the heating part. A stage over
its longest time asks; unanswered it falls to the last plateau, then to cooling (`overdue`).
"""

from emberbed_fw import plan as plans
from emberbed_fw.integer_math import clamp, divide_round, interpolate
from emberbed_fw.run_states import (
    WAITS_ANSWER,
    WAITS_BAND,
    WAITS_BOARD,
    WAITS_NOTHING,
    WAITS_OPERATOR,
)
from emberbed_fw.safety_limits import ANSWER_TICKS
from emberbed_fw.trip_codes import NO_TRIP, PROMPT_OVERDUE, STAGE_OVERDUE
from emberbed_fw.units import NO_READING_CDEG, NONE

LONGER_PROMPT = 254  # "this stage takes longer than planned: go on?"


class Sequencer:
    """Walks through the stages of one plan; `overdue` is a trip code when time has run out."""

    STATE = (
        "stage", "stage_tick", "stage_elapsed", "setpoint_cdeg", "waits_for", "prompt", "overdue",
        "_plateau_cdeg", "_knot", "_deadline", "_fallen_back",
    )

    def __init__(self, plan):
        self._plan = plan
        self.reset()

    def reset(self):
        """Stand before the first stage."""
        self.stage = NONE
        self.stage_tick = 0
        self.stage_elapsed = 0
        self.setpoint_cdeg = NO_READING_CDEG
        self.waits_for = WAITS_NOTHING
        self.prompt = NONE
        self.overdue = NO_TRIP
        self._plateau_cdeg = NO_READING_CDEG
        self._knot = 0
        self._deadline = 0
        self._fallen_back = 0  # an unanswered question has lowered the setpoint to the plateau

    def kind(self):
        return self._plan.stage["kind"][self.stage]

    def begin(self, measured_cdeg):
        """Enter the first stage with the board at `measured_cdeg`."""
        self._enter(0, measured_cdeg)

    def step(self, measured_cdeg, acknowledged):
        """Take one tick; return whether a new stage was entered.

        `acknowledged`: the prompt id acknowledged in this tick, NONE for none. Without a reading
        the clock stands still.
        """
        self.stage_elapsed += 1
        if measured_cdeg == NO_READING_CDEG or self.kind() == plans.COOL:
            return False
        if self._stage_done(measured_cdeg, acknowledged):
            self._enter(self.stage + 1, measured_cdeg)
            return True
        self._watch_longest(measured_cdeg, acknowledged)
        return False

    def cool(self):
        """Take one tick of cooling, whatever the stage was that led into it."""
        if self.stage != self._plan.stages - 1:
            self._enter_cooling()
        self.stage_elapsed += 1

    def _enter_cooling(self):
        self.stage = self._plan.stages - 1
        self.stage_tick = 0
        self.stage_elapsed = 0
        self.setpoint_cdeg = NO_READING_CDEG
        self.waits_for = WAITS_NOTHING
        self.prompt = NONE

    def feedforward_q15(self, zone):
        """Return the plan's feedforward for `zone` at the running knot."""
        return 0 if self._fallen_back else self._plan.feedforward_q15[zone][self._knot]

    def slope_q6(self, ahead_ticks):
        """Return the plan's slope `ahead_ticks` from now in cdeg per tick, Q6; 0 on a plateau and
        past the end of the stage."""
        ticks = self._plan.knot["tick"]
        setpoints = self._plan.knot["setpoint_cdeg"]
        last = self._last_knot()
        knot = self._knot
        while knot < last and ticks[knot + 1] <= self.stage_tick + ahead_ticks:
            knot += 1
        if knot == last or self._fallen_back:
            return 0
        span = ticks[knot + 1] - ticks[knot]
        return divide_round((setpoints[knot + 1] - setpoints[knot]) * 64, span)

    def _enter(self, stage, measured_cdeg):
        if self.stage != NONE and self.kind() != plans.RAMP:
            self._plateau_cdeg = self._plan.stage["target_cdeg"][self.stage]
        columns = self._plan.stage
        if columns["kind"][stage] == plans.COOL:
            self._enter_cooling()
            return
        self.stage = stage
        self.stage_tick = 0
        self.stage_elapsed = 0
        self._knot = columns["first_knot"][stage]
        self._deadline = columns["longest_ticks"][stage]
        self._fallen_back = 0
        if columns["kind"][stage] == plans.RAMP:
            self.stage_tick = self._tick_of(measured_cdeg)
        self.setpoint_cdeg = self._setpoint()
        self.waits_for = WAITS_NOTHING
        self.prompt = NONE

    def _stage_done(self, measured_cdeg, acknowledged):
        kind = self.kind()
        if kind == plans.WAIT:
            return self._wait(acknowledged)
        if kind == plans.HOLD:
            return self._hold(measured_cdeg)
        return self._ramp(measured_cdeg)

    def _ramp(self, measured_cdeg):
        target = self._plan.stage["target_cdeg"][self.stage]
        last = self._last_knot()
        first = self._plan.stage["first_knot"][self.stage]
        sign = 1 if target >= self._plan.knot["setpoint_cdeg"][first] else -1
        behind = sign * (self._setpoint() - measured_cdeg)
        if behind > self._plan.stage["hold_back_cdeg"][self.stage]:
            self.waits_for = WAITS_BOARD
        else:
            self.waits_for = WAITS_NOTHING
            self.stage_tick = min(self.stage_tick + 1, self._plan.knot["tick"][last])
        self.setpoint_cdeg = self._setpoint()
        if self.stage_tick < self._plan.knot["tick"][last]:
            return False
        return sign * (target - measured_cdeg) <= self._plan.stage["band_cdeg"][self.stage]

    def _hold(self, measured_cdeg):
        target = self._plan.stage["target_cdeg"][self.stage]
        if abs(measured_cdeg - target) <= self._plan.stage["band_cdeg"][self.stage]:
            self.waits_for = WAITS_NOTHING
            self.stage_tick += 1
        else:
            self.waits_for = WAITS_BAND
        self.setpoint_cdeg = self._setpoint()
        return self.stage_tick >= self._plan.knot["tick"][self._last_knot()]

    def _wait(self, acknowledged):
        self.stage_tick += 1
        self.waits_for = WAITS_OPERATOR
        self.prompt = self._plan.stage["prompt"][self.stage]
        return acknowledged != NONE and acknowledged == self.prompt

    def _watch_longest(self, measured_cdeg, acknowledged):
        """Ask when the stage is over its longest time; give up when nobody answers."""
        over = self.stage_elapsed - self._deadline
        if over < 0:
            return
        if self.kind() == plans.WAIT:
            self.overdue = PROMPT_OVERDUE
            return
        if acknowledged == LONGER_PROMPT:
            self._give_more_time(measured_cdeg)
            return
        self.prompt = LONGER_PROMPT
        self.waits_for = WAITS_ANSWER
        if over >= ANSWER_TICKS:
            self._fall_back(over)

    def _give_more_time(self, measured_cdeg):
        """Go on from where the board is now; a ramp must not step up to where its clock stood."""
        half = self._plan.stage["longest_ticks"][self.stage] // 2
        self._deadline = self.stage_elapsed + max(half, ANSWER_TICKS)
        self.prompt = NONE
        if self._fallen_back and self.kind() == plans.RAMP:
            self._knot = self._plan.stage["first_knot"][self.stage]
            self.stage_tick = min(self.stage_tick, self._tick_of(measured_cdeg))
            self.setpoint_cdeg = self._setpoint()
        self._fallen_back = 0

    def _fall_back(self, over):
        """Nobody answered: the last plateau, then cooling; without a plateau, cooling at once."""
        if self._plateau_cdeg == NO_READING_CDEG or over >= 2 * ANSWER_TICKS:
            self.overdue = STAGE_OVERDUE
            return
        self._fallen_back = 1
        self.setpoint_cdeg = min(self.setpoint_cdeg, self._plateau_cdeg)

    def _last_knot(self):
        columns = self._plan.stage
        return columns["first_knot"][self.stage] + columns["knots"][self.stage] - 1

    def _setpoint(self):
        """Return the plan's setpoint at `stage_tick`, on the line between two knots."""
        ticks = self._plan.knot["tick"]
        setpoints = self._plan.knot["setpoint_cdeg"]
        last = self._last_knot()
        while self._knot < last and ticks[self._knot + 1] <= self.stage_tick:
            self._knot += 1
        knot = self._knot
        if knot == last:
            return setpoints[last]
        return interpolate(
            self.stage_tick, ticks[knot], setpoints[knot], ticks[knot + 1], setpoints[knot + 1]
        )

    def _tick_of(self, measured_cdeg):
        """Return the first tick at which the running stage passes `measured_cdeg`, 0 if it never
        does: a warm board starts its ramp where it is."""
        ticks = self._plan.knot["tick"]
        setpoints = self._plan.knot["setpoint_cdeg"]
        for knot in range(self._plan.stage["first_knot"][self.stage], self._last_knot()):
            start = setpoints[knot]
            rise = setpoints[knot + 1] - start
            into = measured_cdeg - start
            if rise < 0:
                rise = -rise
                into = -into
            if 0 < into <= rise:
                span = ticks[knot + 1] - ticks[knot]
                return ticks[knot] + clamp(divide_round(into * span, rise), 0, span)
        return 0
