"""The way through a plan: which stage, which setpoint, how long at most, and a person's changes.

RAMP: the clock waits while the board is more than hold-back behind; ends at the target within the
band. HOLD: the clock counts only inside the band (a guaranteed soak). WAIT: holds until its prompt
is acknowledged. HOT_AIR: asks for the nozzle, holds while hot air is on, ends when it is away.
POWER: open loop. COOL: ends the heating part. A stage over its longest time asks; unanswered it
falls to the last plateau, then to cooling (`overdue`). A WAIT never advances by itself.
"""

from emberbed_fw import knots
from emberbed_fw import plan as plans
from emberbed_fw.lead import Lead
from emberbed_fw.run_states import (
    WAITS_ANSWER,
    WAITS_BAND,
    WAITS_HELD,
    WAITS_NEIGHBOUR,
    WAITS_NOTHING,
)
from emberbed_fw.safety_limits import ANSWER_TICKS, HELD_ASK_TICKS, HELD_FREELY_CDEG
from emberbed_fw.stage_clock import StageClock
from emberbed_fw.trip_codes import NO_TRIP, PROMPT_OVERDUE, STAGE_OVERDUE
from emberbed_fw.units import NO_READING_CDEG, NONE

LONGER_PROMPT = 254  # "this stage takes longer than planned: go on?"


class Sequencer(StageClock):
    """Walks through the stages of one plan; `overdue` is a trip code when time has run out.

    Inside, temperatures are the profile's; a person's `offset_cdeg` is added at the way out.
    """

    STATE = StageClock.STATE + (
        "setpoint_cdeg", "overdue", "offset_cdeg", "held", "_plateau_cdeg", "_deadline",
        "_fallen_back", "_late_answer", "_own_left", "_brake", "left_stage", "left_tick",
    )

    def __init__(self, plan):
        self.lead = Lead()
        StageClock.__init__(self, plan)

    def reset(self):
        """Stand before the first stage."""
        StageClock.reset(self)
        self.setpoint_cdeg = NO_READING_CDEG
        self.overdue = NO_TRIP
        self.offset_cdeg = 0
        self._plateau_cdeg = NO_READING_CDEG
        self._brake = WAITS_NOTHING  # of this tick, whatever else the stage waits for
        self._late_answer = NONE  # came in a tick without a reading
        self.left_stage = NONE  # where the heating ended
        self.left_tick = 0
        self._start_stage()

    def _start_stage(self):
        self.held = 0  # a person holds the temperature where it is
        self._deadline = 0
        self._fallen_back = 0  # an unanswered question has lowered the setpoint to the plateau
        self._own_left = 0  # of the stage's own time, when standing still began
        self.lead.free()

    def begin(self, measured_cdeg):
        """Enter the first stage with the board at `measured_cdeg`; or, going on after a trip, the
        stage that was left, with what was done of it."""
        stage = 0 if self.left_stage == NONE else self.left_stage
        self._enter(stage, measured_cdeg)
        for earlier in range(stage):
            if self._plan.stage["kind"][earlier] in plans.PLATEAUS:
                self._plateau_cdeg = self._plan.stage["target_cdeg"][earlier]
        if self.kind() == plans.HOLD:
            self.stage_tick = min(self.left_tick, self._plan.knot["tick"][self._last_knot()])
        if stage > 0:
            self.lead.begin(measured_cdeg)
            self._give_setpoint(measured_cdeg)

    def step(self, measured_cdeg, acknowledged, brake):
        """Take one tick; return whether a new stage, or a new part of one, was entered.

        acknowledged: the prompt id acknowledged in this tick, NONE for none. brake: why the clock
        should slow or stand (WAITS_*), WAITS_NOTHING for none. Without a reading it stands still.
        """
        self.stage_elapsed += 1
        self._brake = brake
        if acknowledged == NONE:
            acknowledged = self._late_answer
        self._late_answer = NONE
        if measured_cdeg == NO_READING_CDEG or self.kind() == plans.COOL:
            self._late_answer = acknowledged
            return False
        measured = measured_cdeg - self.offset_cdeg
        air_was_on = self.air_on
        if self.held:
            self.waits_for = WAITS_HELD
        elif self._stage_done(measured, acknowledged, brake):
            self._enter(self.stage + 1, measured)
            return True
        if self.air_on != air_was_on:
            self._deadline = self.stage_elapsed + self._longest_ticks()
            return True
        self._watch_longest(measured, acknowledged)
        self._give_setpoint(measured)
        return False

    def cool(self):
        """Take one tick of cooling, whatever the stage was that led into it."""
        if self.stage != self._plan.stages - 1:
            self._enter_cooling()
        self.stage_elapsed += 1

    # a person's changes; touches.py has checked them

    def hold_here(self, measured_cdeg):
        """Stand still at the board's temperature of now (never above the plan's peak)."""
        peak = self._plan.header["peak_cdeg"]
        self._stand_at(min(measured_cdeg - self.offset_cdeg, peak))

    def back_to_plateau(self):
        """Stand still at the last hold's temperature; tell whether there is one."""
        if self._plateau_cdeg == NO_READING_CDEG:
            return False
        self._stand_at(self._plateau_cdeg)
        return True

    def go_on(self, measured_cdeg):
        """End standing still: the plan goes on from where the board is now."""
        measured = measured_cdeg - self.offset_cdeg
        self.held = 0
        self._deadline = self.stage_elapsed + self._own_left
        self.prompt = NONE
        self._fallen_back = 0
        self._return_to_plan(measured)
        self.lead.begin(measured_cdeg)

    def next_stage(self, measured_cdeg):
        """Enter the next stage at once."""
        self._enter(self.stage + 1, measured_cdeg - self.offset_cdeg)
        self.lead.begin(measured_cdeg)

    def extend(self, ticks):
        """Give the running stage more time."""
        self.extra_ticks += ticks
        self._deadline += ticks
        if self.prompt == LONGER_PROMPT:
            self.prompt = NONE

    def shift(self, offset_cdeg):
        """Shift every target by `offset_cdeg` instead of the shift before."""
        self.offset_cdeg = offset_cdeg

    # what the controller and the brake ask

    def feedforward_q15(self, zone):
        """Return the plan's feedforward for `zone`, on the line between two knots; nothing where
        the clock stands for a board that is too hot: what the next ramp needs would go on."""
        if self.off_plan() or self.too_hot:
            return 0
        return knots.feedforward_q15(
            self._plan, zone, self._knot, self._last_knot(), self.stage_tick
        )

    def slope_q6(self, ahead_ticks):
        """Return the setpoint's slope `ahead_ticks` from now in cdeg per tick, Q6; 0 on a plateau
        and past the end of the stage."""
        if self._brake == WAITS_NEIGHBOUR:
            return 0
        slope_q6 = self._plan_slope_q6(ahead_ticks)
        if self.lead.climbs():
            return self.lead.slope_q6(self._wanted_cdeg(), ahead_ticks, slope_q6)
        return slope_q6

    def level_cdeg(self):
        """Return what the running stage aims at, with a person's offset."""
        return self._plan.stage["target_cdeg"][self.stage] + self.offset_cdeg

    def holds(self):
        """Tell whether the board stands at the level of a plateau."""
        return self.kind() in plans.PLATEAUS and not self.held and self.waits_for != WAITS_BAND

    def left_ticks(self):
        """Return the ticks until the running stage is over its longest time."""
        return self._deadline - self.stage_elapsed

    def ticks_to_person(self):
        """Return the ticks until a hold ends in a stage that needs the operator, -1 for none."""
        if self.kind() != plans.HOLD or self.held:
            return -1
        following = self._plan.stage["kind"][self.stage + 1]
        if following != plans.WAIT and following != plans.HOT_AIR:
            return -1
        return self._plan.knot["tick"][self._last_knot()] + self.extra_ticks - self.stage_tick

    def off_plan(self):
        """Tell whether something else than the plan says what is wanted now."""
        return self._fallen_back or self.held

    def _enter_cooling(self):
        if self.stage != NONE:
            self.left_stage = self.stage
            self.left_tick = self.stage_tick
        self.stage = self._plan.stages - 1
        self.setpoint_cdeg = NO_READING_CDEG
        self._begin_counting()
        self._start_stage()

    def _enter(self, stage, measured):
        if self.stage != NONE and self.kind() in plans.PLATEAUS:
            self._plateau_cdeg = self._plan.stage["target_cdeg"][self.stage]
        if self._plan.stage["kind"][stage] == plans.COOL:
            self._enter_cooling()
            return
        self.stage = stage
        self._begin_counting()
        self._start_stage()
        self._knot = self._plan.stage["first_knot"][stage]
        self._deadline = self._longest_ticks()
        if self.kind() == plans.HOT_AIR:
            self._deadline = self._plan.stage["answer_ticks"][stage]
        self._return_to_plan(measured)
        self._give_setpoint(measured)

    def _longest_ticks(self):
        return self._plan.stage["longest_ticks"][self.stage]

    def _watch_longest(self, measured, acknowledged):
        """Ask when the stage is over its longest time; give up when nobody answers."""
        over = self.stage_elapsed - self._deadline
        if over < 0 or self.kind() == plans.POWER:
            return
        if self.asks() and not self.held:
            self.overdue = PROMPT_OVERDUE
            return
        if acknowledged == LONGER_PROMPT:
            self._give_more_time(measured)
            return
        self.prompt = LONGER_PROMPT
        self.waits_for = WAITS_ANSWER
        if over >= ANSWER_TICKS:
            self._fall_back(over)

    def _give_more_time(self, measured):
        """Go on from where the board is now; a ramp must not step up to where its clock stood."""
        more = max(self._longest_ticks() // 2, ANSWER_TICKS)
        if self.held:
            more = self._held_ticks(measured)
        self._deadline = self.stage_elapsed + more
        self.prompt = NONE
        if self._fallen_back:
            self._fallen_back = 0
            if not self.held:
                self._return_to_plan(measured)

    def _held_ticks(self, measured):
        """Return how long standing still may last before the device asks again."""
        if measured + self.offset_cdeg > HELD_FREELY_CDEG:
            return HELD_ASK_TICKS
        return max(self._longest_ticks(), HELD_ASK_TICKS)

    def _stand_at(self, planned_cdeg):
        was_held, deadline = self.held, self._deadline
        own_left = self._own_left if was_held else max(self.left_ticks(), ANSWER_TICKS)
        self._start_stage()
        self._own_left = own_left
        self.held = 1
        self.prompt = NONE
        self._planned_cdeg = planned_cdeg
        self._deadline = self.stage_elapsed + self._held_ticks(planned_cdeg)
        if was_held:  # asking for it again and again answers no question
            self._deadline = min(self._deadline, deadline)

    def _fall_back(self, over):
        """Nobody answered: the last plateau, then cooling; without a plateau, cooling at once."""
        if self._plateau_cdeg == NO_READING_CDEG or over >= 2 * ANSWER_TICKS:
            self.overdue = STAGE_OVERDUE
            return
        self._fallen_back = 1
        self._planned_cdeg = min(self._planned_cdeg, self._plateau_cdeg)

    def _wanted_cdeg(self):
        """Return what the plan and the person want, never above what the arming press allowed."""
        most = self._plan.header["most_setpoint_cdeg"]
        return min(self._planned_cdeg + self.offset_cdeg, most)

    def _give_setpoint(self, measured):
        """Set the setpoint for the controller."""
        before = self.setpoint_cdeg
        if before == NO_READING_CDEG:
            before = self._wanted_cdeg()  # the first stage begins as the plan says
        board_cdeg = measured + self.offset_cdeg
        wanted = self._wanted_cdeg()
        if self._brake == WAITS_NEIGHBOUR:
            wanted = min(wanted, board_cdeg)  # it must not get warmer by what was asked before
        self.setpoint_cdeg = self.lead.give(wanted, board_cdeg, before, self._plan_slope_q6(0))

    def _plan_slope_q6(self, ahead_ticks):
        if self.off_plan():
            return 0
        tick = self.stage_tick + ahead_ticks
        return knots.slope_q6(self._plan, self._knot, self._last_knot(), tick)
