"""A person's changes while a run is on: each checked, carried out, and told in the tick's record.

`apply_touch` takes one touch (messages.HOLD_HERE ..) with its amount and source and returns a
refusal code; a refused touch changes nothing. Nothing here goes above what was shown at the arming
press: the plan's `most_setpoint_cdeg`. Serves hazard H10.
"""

from emberbed_fw import messages as ms
from emberbed_fw import plan as plans
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import MOST_EXTRA_TICKS, MOST_OFFSET_CDEG
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NO_READING_CDEG, NONE, TICKS_PER_MIN

MARK_MASK = (1 << plans.MARK_BITS) - 1
READ_TICKS = 10  # a press within a second was meant for something else


class Touches:
    """What the record tells of a tick, and which expected events have been marked."""

    STATE = ("touch", "source", "mark", "_marked", "_marked_stage", "_prompt", "_prompt_ticks")

    def __init__(self):
        self.reset()

    def reset(self):
        self.begin_tick()
        self._marked = 0  # of the expected events of `_marked_stage`
        self._marked_stage = NONE
        self._prompt = NONE
        self._prompt_ticks = 0  # for how long it has been asked

    def has_been_read(self, prompt):
        """Take this tick's prompt; tell whether it has stood long enough for a press to mean it."""
        if prompt != self._prompt:
            self._prompt = prompt
            self._prompt_ticks = 0
        self._prompt_ticks = min(self._prompt_ticks + 1, READ_TICKS)
        return self._prompt_ticks == READ_TICKS

    def begin_tick(self):
        self.touch = 0
        self.source = ms.BY_NOBODY
        self.mark = 0

    def note(self, touch, source):
        self.touch = touch
        self.source = source

    def next_mark(self, plan, stage):
        """Return the next event expected in this stage, MARK_NOTE when there is none."""
        marked = self._marked if stage == self._marked_stage else 0
        return expected_mark(plan.stage["marks"][stage], marked)

    def set_mark(self, plan, stage, mark):
        """Note an event; those expected before it will not come any more."""
        self.mark = mark
        if stage != self._marked_stage:
            self._marked_stage = stage
            self._marked = 0
        self._marked = marked_after(plan.stage["marks"][stage], self._marked, mark)


def expected_mark(marks, marked):
    """Return the next of a stage's expected `marks` after the first `marked`, or MARK_NOTE."""
    return (marks >> plans.MARK_BITS * marked & MARK_MASK) or ms.MARK_NOTE


def marked_after(marks, marked, mark):
    """Return how many of `marks` are behind once `mark` has come: those before it, and itself."""
    expected = marks >> plans.MARK_BITS * marked
    ahead = 1
    while expected:
        if expected & MARK_MASK == mark:
            return marked + ahead
        expected >>= plans.MARK_BITS
        ahead += 1
    return marked


def apply_touch(machine, touch, amount, source):
    """Carry out one touch; return a refusal code of messages.py."""
    refusal = _carry_out(machine, touch, amount)
    if refusal == ms.DONE:
        machine.touches.note(touch, source)
    return refusal


def answer(machine, prompt, source):
    """Acknowledge a prompt; the event that it stands for is marked with it."""
    machine.acknowledged = prompt
    touches = machine.touches
    touches.note(ms.ANSWER, source)
    stage = machine.stage()
    if stage == NONE:
        return
    if prompt == AIR_AWAY_PROMPT:
        touches.set_mark(machine.plan, stage, ms.MARK_AIR_AWAY)
    elif prompt == machine.plan.stage["prompt"][stage]:
        expected = touches.next_mark(machine.plan, stage)
        if expected != ms.MARK_NOTE:
            touches.set_mark(machine.plan, stage, expected)


def _carry_out(machine, touch, amount):
    if touch == ms.FAN_NOW:
        return _start_fan(machine)
    if machine.sequencer is None or machine.life.state not in rs.STAGED_STATES:
        # a chip may be marked as set down in the cooling too; stage() is NONE before the first one
        if touch == ms.MARK and machine.stage() != NONE:
            return _mark(machine, amount)
        return ms.NO_RUN
    if touch == ms.OFFSET:
        return _offset(machine, amount)
    if touch == ms.EXTEND:
        return _extend(machine, amount)
    if touch == ms.MARK:
        return _mark(machine, amount)
    if touch == ms.NEXT_STAGE:
        return _next_stage(machine)
    if touch == ms.COOL_DOWN:
        machine.life.end_heating(rs.FINISHED)
        return ms.DONE
    return _stand(machine, touch)


def _stand(machine, touch):
    """Hold here, back to the last plateau, and the end of both."""
    sequencer = machine.sequencer
    measured = machine.control_cdeg()
    if touch == ms.GO_ON:
        if not sequencer.held or measured == NO_READING_CDEG:
            return ms.WRONG_STATE
        sequencer.go_on(measured)
        return ms.DONE
    if touch not in STANDING:
        return ms.BAD_RANGE
    # the stage holds anyway while it asks; under hot air the bottom heater stays as it is
    if measured == NO_READING_CDEG or sequencer.air_on or sequencer.kind() == plans.POWER:
        return ms.WRONG_STATE
    if touch == ms.LAST_PLATEAU:
        return ms.DONE if sequencer.back_to_plateau() else ms.NO_PLATEAU
    if sequencer.asks() and not sequencer.held:
        return ms.WRONG_STATE
    sequencer.hold_here(measured)
    return ms.DONE


STANDING = (ms.HOLD_HERE, ms.LAST_PLATEAU)


def _offset(machine, offset_cdeg):
    """Shift every target, if that keeps all of them below what was shown at the arming press."""
    if not -MOST_OFFSET_CDEG <= offset_cdeg <= MOST_OFFSET_CDEG:
        return ms.BAD_RANGE
    plan = machine.plan
    sequencer = machine.sequencer
    measured = machine.control_cdeg()
    if measured == NO_READING_CDEG or sequencer.kind() == plans.POWER:
        return ms.WRONG_STATE
    for stage in range(sequencer.stage, plan.stages - 1):
        target = plan.stage["target_cdeg"][stage]
        if not target + offset_cdeg <= plan.header["most_setpoint_cdeg"]:
            return ms.ABOVE_LIMIT
    sequencer.shift(offset_cdeg)
    return ms.DONE


def _extend(machine, ticks):
    sequencer = machine.sequencer
    if not 0 < ticks <= TICKS_PER_MIN:
        return ms.BAD_RANGE
    if sequencer.kind() == plans.RAMP or sequencer.kind() == plans.POWER:
        return ms.WRONG_STATE  # a ramp takes as long as it takes
    if sequencer.extra_ticks + ticks > MOST_EXTRA_TICKS:
        return ms.ABOVE_LIMIT
    sequencer.extend(ticks)
    return ms.DONE


def _next_stage(machine):
    measured = machine.control_cdeg()
    if measured == NO_READING_CDEG:
        return ms.WRONG_STATE
    machine.sequencer.next_stage(measured)
    machine.life.enter_stage(machine)
    return ms.DONE


def _mark(machine, mark):
    if not 0 <= mark <= ms.MARK_NOTE:
        return ms.BAD_RANGE
    touches = machine.touches
    sequencer = machine.sequencer
    if mark == ms.MARK_NEXT:
        mark = touches.next_mark(machine.plan, sequencer.stage)
    touches.set_mark(machine.plan, sequencer.stage, mark)
    if mark == ms.MARK_AIR_AWAY and sequencer.air_on:
        machine.acknowledged = AIR_AWAY_PROMPT
    elif mark == ms.MARK_NOZZLE_ON and sequencer.asks_for_nozzle():
        machine.acknowledged = sequencer.prompt
    return ms.DONE


def _start_fan(machine):
    """The operator says that the solder is solid."""
    if machine.life.state != rs.COOL or machine.plan is None:
        return ms.NO_RUN
    if machine.plan.header["fan_starts"] == plans.FAN_NEVER or not machine.has_fan:
        return ms.WRONG_STATE
    machine.fan_allowed = 1
    return ms.DONE
