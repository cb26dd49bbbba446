"""Requests as the tick takes them: queued by the link, applied at the start of the next tick.

`put` copies a request's bytes into one fixed queue; `apply_commands` carries each out, in order,
and writes its refusal code beside it. The queue's bytes go into the record as they are. Nothing
here allocates. Serves hazard H07: no command starts heat, presses the button or forces an output.
"""

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import safety_limits
from emberbed_fw.feedforward import half
from emberbed_fw.record import COMMAND_BYTES
from emberbed_fw.touches import answer, apply_touch
from emberbed_fw.units import NONE

MAX_COMMANDS = 16
STOP_BYTES = 3  # its place is kept free: whatever else came in a tick, a STOP is heard
COMMAND_LENGTHS = {
    ms.RENEW: 4, ms.PLAN_WRITE: 8, ms.ARM: 10, ms.STOP: 1, ms.ACK_PROMPT: 2, ms.STAGE_REQUEST: 4,
    ms.SETTINGS_WRITE: 8, ms.SERVICE: 1, ms.FEEDFORWARD: 2 + 2 * ms.FEEDFORWARD_POWERS,
}
TICK_COMMANDS = tuple(COMMAND_LENGTHS)
HARMLESS = (ms.COOL_DOWN, ms.MARK, ms.FAN_NOW)  # touches that any host may ask for


def command_length(kind):
    """Return the one payload length a tick command may have, -1 for no tick command."""
    return COMMAND_LENGTHS.get(kind, -1)


class CommandQueue:
    """Accepted requests of one tick, as type, length, payload."""

    def __init__(self):
        self.octets = bytearray(COMMAND_BYTES)
        self.filled = 0
        self.count = 0
        self.refusals = [0] * MAX_COMMANDS

    def put(self, kind, payload, offset, length):
        """Append a request; tell whether there was room."""
        kept = 0 if kind == ms.STOP else 1
        if self.count + kept >= MAX_COMMANDS:
            return False
        if self.filled + 2 + length > COMMAND_BYTES - kept * STOP_BYTES:
            return False
        at = self.filled
        self.refusals[self.count] = ms.BUSY  # stands if the tick never comes to it
        self.octets[at] = kind
        self.octets[at + 1] = length
        for index in range(length):
            self.octets[at + 2 + index] = payload[offset + index]
        self.filled = at + 2 + length
        self.count += 1
        return True

    def clear(self):
        self.filled = 0
        self.count = 0


def prepare_feedforward(machine, octets, at):
    """Make room for a part of a set, or check the set whose end is coming, so that the tick need
    only swap; return a refusal code. Allocates: between ticks only."""
    if machine.life.state not in rs.STAGED_STATES:
        return ms.NO_RUN
    if machine.guard.attendance == ms.ATTEND_PANEL:
        return ms.WRONG_STATE  # whoever answers for the heat stands at the device
    try:
        if half(octets, at) != ms.END_OF_BLOCK:
            machine.feedforward.make_room()
            return ms.DONE
        return machine.feedforward.check(octets, at, machine.sequencer.stage)
    except MemoryError:  # the set in use goes on
        return ms.BUSY


def apply_commands(machine):
    """Carry out every queued request; `queue.refusals[n]` says how number n went."""
    queue = machine.commands
    at = 0
    for number in range(queue.count):
        queue.refusals[number] = _apply(machine, queue.octets, at)
        at += 2 + queue.octets[at + 1]


def _apply(machine, octets, at):
    kind = octets[at]
    if kind == ms.RENEW:
        return _renew(machine, octets, at + 2)
    if kind == ms.STOP:
        machine.life.end_heating(rs.STOPPED)
        return ms.DONE
    if kind == ms.ACK_PROMPT:
        return _acknowledge(machine, octets[at + 2], octets[at + 3])
    if kind == ms.STAGE_REQUEST:
        return _touch(machine, octets, at + 2)
    if kind == ms.PLAN_WRITE:
        return _store_plan(machine, octets, at + 2)
    if kind == ms.SETTINGS_WRITE:
        return _store_settings(machine)
    if kind == ms.FEEDFORWARD:
        return _take_feedforward(machine, octets, at + 2)
    if kind == ms.SERVICE:
        return _to_service(machine, octets[at + 2])
    return _arm(machine, octets, at + 2)


def _renew(machine, octets, at):
    high = half(octets, at + 2)
    if high >= 0x4000:
        return ms.BAD_RANGE  # no tick of ours: beyond 2**30
    age = machine.tick - 1 - (half(octets, at) | high << 16)
    if not 0 <= age <= safety_limits.ACK_AGE_TICKS:
        return ms.TOO_OLD
    machine.guard.renew_lease(ms.ATTEND_HOST)
    return ms.DONE


def _acknowledge(machine, prompt, source):
    if machine.life.state not in rs.SHOWN_STATES or machine.sequencer is None:
        return ms.WRONG_STATE
    if prompt == NONE or machine.prompt() != prompt:
        return ms.WRONG_PROMPT
    if not ms.BY_BUTTON < source <= ms.BY_SCRIPT:
        return ms.BAD_RANGE  # the button speaks for itself
    if machine.guard.attendance == ms.ATTEND_PANEL:
        return ms.WRONG_STATE  # whoever answers for the heat stands at the device
    answer(machine, prompt, source)
    return ms.DONE


def _touch(machine, octets, at):
    source = octets[at + 3]
    if not ms.BY_BUTTON < source <= ms.BY_SCRIPT:
        return ms.BAD_RANGE
    amount = half(octets, at + 1)
    if amount >= 0x8000:
        amount -= 0x10000
    if machine.guard.attendance == ms.ATTEND_PANEL and octets[at] not in HARMLESS:
        return ms.WRONG_STATE
    return apply_touch(machine, octets[at], amount, source)


def _store_plan(machine, octets, at):
    """Take the plan that the link has received, checked and opened."""
    if machine.received is None:
        return ms.BAD_PLAN
    received = machine.received.plan
    if received.crc_low != half(octets, at + 4) or received.crc_high != half(octets, at + 6):
        return ms.BAD_CRC
    if not machine.life.happen(rs.PLAN_STORED):
        return ms.WRONG_STATE
    machine.take_received_plan()
    return ms.DONE


def _store_settings(machine):
    """Let the errands between ticks write what the link has received and checked."""
    if machine.life.state != rs.IDLE:
        return ms.WRONG_STATE
    if machine.received_settings is None:
        return ms.BAD_RANGE
    if not machine.switches_open():
        return ms.SWITCH_CLOSED
    machine.settings_to_keep = machine.received_settings
    machine.received_settings = None
    return ms.DONE


def _take_feedforward(machine, octets, at):
    """Take a part of a set, or swap in the one that was checked before this tick."""
    if machine.life.state not in rs.STAGED_STATES:
        return ms.NO_RUN
    if half(octets, at) != ms.END_OF_BLOCK:
        return machine.feedforward.write(octets, at)
    return machine.feedforward.take(octets, at, machine.sequencer.stage)


def _to_service(machine, wanted):
    if wanted != ms.SERVICE_PLEASE and wanted != ms.SERVICE_UNPLUGGED:
        return ms.BAD_RANGE
    unplugged = wanted == ms.SERVICE_UNPLUGGED and machine.drives_nothing()
    if not unplugged and not machine.switches_open():
        return ms.SWITCH_CLOSED
    if machine.life.state == rs.TRIPPED and not unplugged:
        return ms.WRONG_STATE
    machine.unplugged = 1 if unplugged else 0
    return ms.DONE if machine.life.happen(rs.TO_SERVICE) else ms.WRONG_STATE


def _arm(machine, octets, at):
    attendance = octets[at + 4]
    stage = octets[at + 5]
    if attendance != ms.ATTEND_HOST and attendance != ms.ATTEND_PANEL:
        return ms.NOT_OFFERED
    plan = machine.plan
    goes_on = stage != NONE
    if plan is None or (machine.life.state != rs.LOADED and not goes_on):
        return ms.WRONG_STATE
    if plan.crc_low != half(octets, at) or plan.crc_high != half(octets, at + 2):
        return ms.BAD_CRC
    if goes_on:
        return _go_on(machine, attendance, stage, half(octets, at + 6), half(octets, at + 8))
    machine.reset_for_run(attendance)
    return ms.DONE


def _go_on(machine, attendance, stage, done_low, done_high):
    """Arm a run that goes on with the one that has tripped, only where that one was left."""
    if stage >= machine.plan.stages - 1 or done_high >= 0x10:
        return ms.BAD_RANGE
    if machine.life.go_on_prompt == NONE:
        return ms.WRONG_STATE
    done_ticks = done_low | done_high << 16
    sequencer = machine.sequencer
    if stage != sequencer.left_stage or done_ticks > sequencer.left_tick:
        return ms.BAD_RANGE
    machine.reset_for_run(attendance)
    machine.go_on_with(stage, done_ticks)
    return ms.DONE


