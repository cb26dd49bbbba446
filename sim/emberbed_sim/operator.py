"""The person and the host at a simulated bench: who presses, answers, brings the hot air, changes.

`Operator` says what they do, in seconds; `Person` does it tick by tick in front of one machine and
one heater. Gives requests as (message type, payload) and the button, as a host and a hand would;
decides nothing for the firmware.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.plan import HOT_AIR, Plan
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.tick import Machine
from emberbed_fw.units import NONE, TICKS_PER_S
from emberbed_sim.plant.heater import SimulatedHeater

Request = tuple[int, bytes]
MARKS_AT = (0.5, 0.75)  # of the time under hot air: the solder moves, the chip comes off or goes on


class Act(NamedTuple):
    """A change by a person: when, in s since the press; a touch of messages.py and its amount."""

    at_s: float
    touch: int
    amount: int = 0


@dataclass(frozen=True)
class Operator:
    """What people and the host do: times in seconds."""

    presses: bool = True
    press_after_s: float = 2.0
    press_for_s: float = 1.5
    answers_after_s: float = 20.0  # to any prompt; the time a person takes to apply flux, say
    air_for_s: float = 78.0  # hot air from above, from "nozzle on" to "air away"
    stops_at_s: float | None = None  # after arming
    goes_on: bool = False  # after a trip that can be mended
    acts: tuple[Act, ...] = field(default=())


class Person:
    """Plays an operator; call `requests` and `button_is_down` once a tick, in this order."""

    def __init__(self, operator: Operator, machine: Machine, heater: SimulatedHeater, plan: Plan):
        self._operator = operator
        self._machine = machine
        self._heater = heater
        self._plan = plan
        self._ticks = 0  # since arming
        self._since_press = -1
        self._prompt = NONE
        self._prompt_ticks = 0
        self._marked = 0
        self._arms_again = False

    def requests(self) -> Iterator[Request]:
        """Yield what is asked of the device in this tick."""
        self._ticks += 1
        machine, operator = self._machine, self._operator
        if machine.life.state in rs.HEATING_STATES:
            self._since_press += 1
        elif machine.life.state == rs.COOL:
            self._heater.blow(None)  # nobody heats what should cool
        if self._arms_again:
            yield self._arm_again()
            return
        prompt = machine.prompt()
        self._prompt_ticks = self._prompt_ticks + 1 if prompt == self._prompt else 1
        self._prompt = prompt
        if prompt != NONE:
            yield from self._answer(prompt)
        for act in operator.acts:
            if round(act.at_s * TICKS_PER_S) == self._since_press:
                yield touch_request(act.touch, act.amount)
        stops = operator.stops_at_s
        if stops is not None and self._ticks == round(stops * TICKS_PER_S):
            yield messages.STOP, bytes([messages.STOP_BY_PERSON])

    def button_is_down(self) -> bool:
        operator = self._operator
        into = self._ticks / TICKS_PER_S - operator.press_after_s
        return operator.presses and 0 <= into < operator.press_for_s

    def _answer(self, prompt: int) -> Iterator[Request]:
        """Answer a prompt after a person's time; hot air is on and away as the answers say."""
        operator = self._operator
        waited_s = self._prompt_ticks / TICKS_PER_S
        if prompt == AIR_AWAY_PROMPT:
            yield from self._marks(waited_s / operator.air_for_s)
            if waited_s <= operator.air_for_s:
                return
            self._heater.blow(None)
        elif waited_s <= operator.answers_after_s:
            return
        if prompt == GO_ON_PROMPT:
            if not operator.goes_on:
                return
            self._arms_again = True
        elif self._brings_air(prompt):
            self._heater.blow()
            self._marked = 0
        yield messages.ACK_PROMPT, bytes([prompt, messages.BY_SCRIPT])

    def _brings_air(self, prompt: int) -> bool:
        stage = self._machine.stage()
        columns = self._plan.stage
        return stage != NONE and columns["kind"][stage] == HOT_AIR and (
            prompt == columns["prompt"][stage]
        )  # fmt: skip

    def _marks(self, share: float) -> Iterator[Request]:
        """Mark what is expected under the nozzle; that it is away is said by the answer."""
        machine = self._machine
        if self._marked < len(MARKS_AT) and share >= MARKS_AT[self._marked]:
            self._marked += 1
            expected = machine.touches.next_mark(self._plan, machine.stage())
            if expected not in (messages.MARK_AIR_AWAY, messages.MARK_NOTE):
                yield touch_request(messages.MARK, messages.MARK_NEXT)

    def _arm_again(self) -> Request:
        """Go on in the stage that was left, in a run linked to the one that tripped."""
        self._arms_again = False
        self._ticks = 0
        sequencer = self._machine.sequencer
        assert sequencer is not None, "a run has tripped"
        return messages.ARM, arm_payload(self._plan, sequencer.left_stage, sequencer.left_tick)


def touch_request(touch: int, amount: int = 0) -> Request:
    """Return the request for one touch, from a script."""
    payload = struct.pack(messages.TOUCH_PAYLOAD, touch, amount, messages.BY_SCRIPT)
    return messages.STAGE_REQUEST, payload


def arm_payload(plan: Plan, stage: int = NONE, done_ticks: int = 0) -> bytes:
    """Return ARM's payload; with a `stage`, to go on there."""
    crc = (plan.crc_low, plan.crc_high)
    return struct.pack(messages.ARM_PAYLOAD, *crc, messages.ATTEND_HOST, stage, done_ticks)
