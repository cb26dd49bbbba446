"""Firmware and simulated heater in lockstep, in process: the fastest way to run a whole profile.

The one file that imports both. Each step feeds the heater's words to the firmware, hands the
firmware's drives to the heater and gives the tick's record bytes. The host's part (arming, renewing
the PC link, acknowledging) and the hand on the button are played by `Operator`.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_fw.plan import Plan, find_fault
from emberbed_fw.recorder import pack_record
from emberbed_fw.settings import Settings, settings_fit
from emberbed_fw.tick import Machine
from emberbed_fw.units import NONE, TICK_MS, TICKS_PER_S
from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.heater import SimulatedHeater

ENDED = (rs.FINISHED, rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)


@dataclass(frozen=True)
class Operator:
    """What people and the host do: times in seconds."""

    presses: bool = True
    press_after_s: float = 2.0
    press_for_s: float = 1.5
    answers_after_s: float = 20.0  # to any prompt; the time a person takes to apply flux, say
    stops_at_s: float | None = None  # after arming


class ClosedLoop:
    """One run. `settings` and `plan` are the bytes that a device would hold."""

    def __init__(
        self,
        settings: bytes,
        plan: bytes,
        heater: SimulatedHeater,
        operator: Operator | None = None,
        link_faults: tuple[FaultEvent, ...] = (),
    ) -> None:
        if not settings_fit(settings):
            raise ValueError("the device description does not fit this firmware")
        fault = find_fault(plan, Settings(settings))
        if fault:
            raise ValueError(f"the firmware refuses this plan (fault {fault})")
        self.heater = heater
        self.machine = Machine(Settings(settings))
        self.operator = operator or Operator()
        self._silences = [event for event in link_faults if event.name == "host_silent"]
        self._plan = Plan(plan)
        self._plan_length = len(plan)
        self._prompt_ticks = 0
        self._armed_ticks = 0
        self._out = bytearray(record.MAX_RECORD)

    def run(self, most_ticks: int = 300000) -> Iterator[bytes]:
        """Yield record bytes from arming until the board may be handled."""
        self._load()
        for _tick in range(most_ticks):
            yield self.step()
            if self.machine.life.state in ENDED:
                return

    def step(self) -> bytes:
        """Advance one tick of 100 ms; return its record."""
        machine = self.machine
        self._armed_ticks += 1
        if not self._host_is_silent():
            self._host()
        inputs = machine.inputs
        inputs.elapsed_ms = TICK_MS
        inputs.words[:] = self.heater.words
        inputs.fresh_channels = self.heater.fresh_channels
        inputs.port_flags = self.heater.port_flags | self._button()
        machine.sample_to_drive()
        packed = bytes(self._out[: pack_record(machine, self._out)])
        machine.commands.clear()
        self.heater.step(machine.driven_zones, machine.outputs)
        return packed

    def _load(self) -> None:
        """Store the plan and arm, as a host would before the run."""
        machine, plan = self.machine, self._plan
        machine.prepare(plan)
        crc = struct.pack("<HH", plan.crc_low, plan.crc_high)
        head = struct.pack("<HH", messages.END_OF_BLOCK, self._plan_length)
        self._send(messages.PLAN_WRITE, head + crc)
        self._send(messages.ARM, crc + bytes([messages.ATTEND_HOST]))

    def _send(self, kind: int, payload: bytes) -> None:
        if not self.machine.commands.put(kind, payload, 0, len(payload)):
            raise ValueError("more requests in one tick than a record holds")

    def _host(self) -> None:
        """Renew the PC link with the newest record; answer prompts after a person's time."""
        machine, operator = self.machine, self.operator
        if self._armed_ticks > 1:
            self._send(messages.RENEW, struct.pack("<I", machine.tick))
        prompt = machine.prompt()
        self._prompt_ticks = 0 if prompt == NONE else self._prompt_ticks + 1
        if self._prompt_ticks > operator.answers_after_s * TICKS_PER_S:
            self._send(messages.ACK_PROMPT, bytes([prompt]))
        stops = operator.stops_at_s
        if stops is not None and self._armed_ticks == round(stops * TICKS_PER_S):
            self._send(messages.STOP, bytes([messages.STOP_BY_PERSON]))

    def _host_is_silent(self) -> bool:
        return any(event.active_at(self.heater.elapsed_s) for event in self._silences)

    def _button(self) -> int:
        operator = self.operator
        into = self._armed_ticks / TICKS_PER_S - operator.press_after_s
        down = operator.presses and 0 <= into < operator.press_for_s
        return record.PORT_BUTTON if down else 0
