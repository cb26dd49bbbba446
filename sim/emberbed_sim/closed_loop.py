"""Firmware and simulated heater in lockstep, in process: the fastest way to run a whole profile.

The one file that imports both. Each step feeds the heater's words to the firmware, hands the
firmware's drives to the heater and gives the tick's record bytes. The host's part (arming, renewing
the PC link, acknowledging) and the hand on the button are played by `Operator`.
"""

import struct
from collections.abc import Iterator

from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_fw.plan import Plan
from emberbed_fw.plan_check import find_fault
from emberbed_fw.recorder import pack_record
from emberbed_fw.settings import Settings, settings_fit
from emberbed_fw.tick import Machine
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_sim.faults import FaultEvent
from emberbed_sim.operator import Operator, Person, arm_payload
from emberbed_sim.plant.heater import SimulatedHeater

ENDED = (rs.FINISHED, rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)


class ClosedLoop:
    """One run. `settings` and `plan` are the bytes that a device would hold.

    Heater and machine may have been through other runs: the bench's time, and so what happens on
    it, goes on; the run's own time begins with the first step.
    """

    def __init__(
        self,
        settings: bytes,
        plan: bytes,
        heater: SimulatedHeater,
        operator: Operator | None = None,
        link_faults: tuple[FaultEvent, ...] = (),
        machine: Machine | None = None,
    ) -> None:
        if not settings_fit(settings):
            raise ValueError("the device description does not fit this firmware")
        fault = find_fault(plan, Settings(settings))
        if fault:
            raise ValueError(f"the firmware refuses this plan (fault {fault})")
        self.heater = heater
        self.machine = machine or Machine(Settings(settings))
        self.operator = operator or Operator()
        self._settings = settings
        self._silences = tuple(event for event in link_faults if event.name == "host_silent")
        self._plan = Plan(plan)
        self._plan_length = len(plan)
        self._person = Person(self.operator, self.machine, heater, self._plan)
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

    def next_board(
        self, plan: bytes, after_s: float = 20.0, operator: Operator | None = None
    ) -> "ClosedLoop":
        """Put a cold board on the bench as it is; return its run, to be armed after these seconds.

        Device and bench go on meanwhile: emitters cool, the host stays linked.
        """
        self.heater.change_board()
        for _tick in range(round(after_s * TICKS_PER_S)):
            self.step()
        return ClosedLoop(self._settings, plan, self.heater, operator, self._silences, self.machine)

    def _load(self) -> None:
        """Store the plan and arm, as a host would before the run."""
        machine, plan = self.machine, self._plan
        machine.prepare(plan)
        block = (messages.END_OF_BLOCK, self._plan_length, plan.crc_low, plan.crc_high)
        self._send(messages.PLAN_WRITE, struct.pack("<HHHH", *block))
        self._send(messages.ARM, arm_payload(plan))

    def _send(self, kind: int, payload: bytes) -> None:
        if not self.machine.commands.put(kind, payload, 0, len(payload)):
            raise ValueError("more requests in one tick than a record holds")

    def _host(self) -> None:
        """Renew the PC link with the newest record; pass on what the person asks."""
        if self._armed_ticks > 1:
            self._send(messages.RENEW, struct.pack("<I", self.machine.tick))
        for kind, payload in self._person.requests():
            self._send(kind, payload)

    def _host_is_silent(self) -> bool:
        return any(event.active_at(self.heater.elapsed_s) for event in self._silences)

    def _button(self) -> int:
        return record.PORT_BUTTON if self._person.button_is_down() else 0
