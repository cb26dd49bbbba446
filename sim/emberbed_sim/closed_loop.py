"""Firmware and simulated heater in lockstep, in process: the fastest way to run a whole profile.

Each step lets the firmware's own tick read the heater and drive it, and gives the tick's record
bytes. The host's part (arming, renewing the PC link, acknowledging) and the hand on the button are
played by `Operator`. Takes faults of the heater, the device and the link (plant/fault_catalogue);
their times are the bench's. A loop can be forked at any step.
"""

import struct
from collections.abc import Callable, Iterable, Iterator
from copy import deepcopy

from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_fw.main_loop import one_tick
from emberbed_fw.plan import Plan
from emberbed_fw.plan_check import find_fault
from emberbed_fw.recorder import pack_record
from emberbed_fw.settings import Settings, settings_fit
from emberbed_fw.tick import Machine
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.device_faults import BOOT_TICKS, DeviceFaults, hang_ticks
from emberbed_sim.faults import FaultEvent, refuse_others
from emberbed_sim.link_faults import RequestFaults
from emberbed_sim.loop_port import LoopPort
from emberbed_sim.machine_faults import broken_steps, flip_bit
from emberbed_sim.operator import Operator, Person, arm_payload
from emberbed_sim.plant.fault_kind import IN_PROCESS
from emberbed_sim.plant.heater import SimulatedHeater

RENEWAL = struct.Struct("<I")  # messages.py: the newest tick whose record is stored
ENDED = (rs.FINISHED, rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)
WATCHDOG_TICKS = 10  # without a whole tick, then the device starts anew; contracts: 1 to 2 s
AFTER_RESET_TICKS = 600  # that a run is still watched after the device has lost it


class ClosedLoop:
    """One run. `settings` and `plan` are the bytes that a device would hold; `faults` those of
    device and link (the heater has its own; others are left alone).

    Heater and machine may have been through other runs: the bench's time, and so what happens on
    it, goes on; the run's own time begins with the first step. `watch` is called after every tick
    of the bench: a late or a hanging device makes several in one step.
    """

    def __init__(
        self,
        settings: bytes,
        plan: bytes,
        heater: SimulatedHeater,
        operator: Operator | None = None,
        faults: Iterable[FaultEvent] = (),
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
        self.resets = 0  # of the device
        self.flipped = ""  # where the last bit has flipped in its memory
        self.watch: Callable[[SimulatedHeater], None] | None = None
        self._settings = settings
        self._plan = Plan(plan)
        self._plan_length = len(plan)
        self._person = Person(self.operator, self.machine, heater, self._plan)
        self._port = LoopPort(heater)
        self._ticks = 0  # since arming, or since the device has started anew
        self._unfed_ticks = 0
        self._is_armed = False
        self._out = bytearray(record.MAX_RECORD)
        self._device = DeviceFaults(())
        self._link = RequestFaults((), heater.seed)
        self._add_faults(faults)

    def run(self, most_ticks: int = 300000) -> Iterator[bytes]:
        """Yield record bytes from arming, or from where the loop is, until the board may be
        handled; after a reset of the device for a minute more."""
        if not self._is_armed:
            self._load()
        for _tick in range(most_ticks):
            packed = self.step()
            if packed:
                yield packed
            if self.machine.life.state in ENDED:
                return
            if self.resets and self._ticks >= AFTER_RESET_TICKS:
                return

    def step(self) -> bytes:
        """Advance one tick of the device, 100 ms by its clock; return its record. Memory that has
        gone wrong can make that impossible: then b""."""
        self._ticks += 1
        if self._has_faults:
            return self._step_with_faults()
        port, put = self._port, self._put
        if self._ticks > 1:
            put(messages.RENEW, RENEWAL.pack(self.machine.tick))
        for kind, payload in self._person.requests():
            put(kind, payload)
        port.flags = self._button()
        self._unfed_ticks = 0 if one_tick(self.machine, port) else self._unfed_ticks + 1
        packed = self._packed()
        self._pass_bench_tick()
        if self._unfed_ticks >= WATCHDOG_TICKS:
            self._start_anew()
        return packed

    def fork(self, faults: Iterable[FaultEvent] = ()) -> "ClosedLoop":
        """Return a loop that goes on by itself from here, with these faults added.

        Firmware, bench, hands and random numbers are copied; without faults the same bits follow.
        `watch` is shared.
        """
        faults = tuple(faults)
        kept = (self._settings, self.operator, self.heater.bench, self.watch)
        other = deepcopy(self, {id(one): one for one in kept})
        other.heater.add_faults(faults)
        other._add_faults(faults)
        return other

    def next_board(
        self, plan: bytes, after_s: float = 20.0, operator: Operator | None = None
    ) -> "ClosedLoop":
        """Put a cold board on the bench as it is; return its run, to be armed after these seconds.

        Device and bench go on meanwhile: emitters cool, the host stays linked.
        """
        self.heater.change_board()
        for _tick in range(round(after_s * TICKS_PER_S)):
            self.step()
        following = ClosedLoop(self._settings, plan, self.heater, operator, (), self.machine)
        following._device, following._link = self._device, self._link
        following._has_faults = self._has_faults
        following.watch = self.watch
        return following

    def _add_faults(self, faults: Iterable[FaultEvent]) -> None:
        faults = tuple(faults)
        refuse_others(faults, IN_PROCESS)
        self._device.add(faults)
        self._link.add(faults)
        self._has_faults = bool(self._device) or bool(self._link)

    def _load(self) -> None:
        """Store the plan and arm, as a host would before the run."""
        self._is_armed = True
        machine, plan = self.machine, self._plan
        machine.prepare(plan)
        block = (messages.END_OF_BLOCK, self._plan_length, plan.crc_low, plan.crc_high)
        self._put(messages.PLAN_WRITE, struct.pack("<HHHH", *block))
        self._put(messages.ARM, arm_payload(plan))

    def _put(self, kind: int, payload: bytes) -> None:
        if not self.machine.commands.put(kind, payload, 0, len(payload)):
            raise ValueError("more requests in one tick than a record holds")

    def _sent(self) -> list[tuple[int, bytes]]:
        """Renew the PC link with the newest record; pass on what the person asks."""
        if self._ticks == 1:
            return [*self._person.requests()]
        return [(messages.RENEW, RENEWAL.pack(self.machine.tick)), *self._person.requests()]

    def _button(self) -> int:
        return record.PORT_BUTTON if self._person.button_is_down() else 0

    def _packed(self) -> bytes:
        machine = self.machine
        packed = bytes(self._out[: pack_record(machine, self._out)])
        machine.commands.clear()
        return packed

    def _pass_bench_tick(self) -> None:
        self.heater.step(self._port.zones, self._port.outputs)
        if self.watch is not None:
            self.watch(self.heater)

    def _step_with_faults(self) -> bytes:
        elapsed_s, device, port = self.heater.elapsed_s, self._device, self._port
        if not self._link.is_silent(elapsed_s):
            for kind, payload in self._link.carry(self._sent(), elapsed_s):
                self._put(kind, payload)
        port.flags = self._button() | device.flags(elapsed_s)
        try:
            with broken_steps(self.machine, device.at(elapsed_s)):
                whole = one_tick(self.machine, port)
        except Exception:  # out of the main loop, which then ends with its outputs off
            self._die()
            return b""
        packed = b""
        try:
            packed = self._packed()
        except Exception:  # as the main loop takes it: a fault like any other
            port.all_off()
            self.machine.fail(self.machine.tick)
            self.machine.commands.clear()
            whole = False
        self._unfed_ticks = 0 if whole else self._unfed_ticks + 1
        pace = device.pace(elapsed_s)
        port.elapsed_ms = pace.elapsed_ms
        for _tick in range(pace.bench_ticks):
            self._pass_bench_tick()
        self._come_to_pass()
        return packed

    def _come_to_pass(self) -> None:
        """Let happen to the device what happens at once and has come due."""
        resets = self._unfed_ticks >= WATCHDOG_TICKS
        for event in self._device.due(self.heater.elapsed_s):
            if event.name in ("device_resets", "device_hangs"):
                resets = True
                for _tick in range(hang_ticks(event)):
                    self._pass_bench_tick()
            else:
                self.flipped = flip_bit(self.machine, event)
        if resets:
            self._start_anew()

    def _die(self) -> None:
        """The firmware has ended: outputs off, and nobody feeds the watchdog."""
        self._port.all_off()
        for _tick in range(WATCHDOG_TICKS):
            self._pass_bench_tick()
        self._start_anew()

    def _start_anew(self) -> None:
        """Reset the device: outputs off while it starts, then a machine that knows of no run."""
        self._port.all_off()
        for _tick in range(BOOT_TICKS):
            self._pass_bench_tick()
        self.machine = Machine(Settings(self._settings))
        self._person = Person(self.operator, self.machine, self.heater, self._plan)
        self._ticks = self._unfed_ticks = 0
        self.resets += 1
