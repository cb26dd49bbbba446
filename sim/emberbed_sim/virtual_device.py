"""The virtual device: firmware in its interpreter, simulated heater, one wire on loopback TCP.

A process of its own (`python -m emberbed_sim.virtual_device`). Prints one JSON line when it is
ready (url, engine, firmware fingerprint), then obeys its control channel on standard input until
that ends. Should it have to give up, it prints one more line with the reason and exits with 2. Its
clock starts when the first host speaks. Ticks have exactly 100 ms stamps at any speed; the clock
stops while more than 10 records are unacknowledged, and faults of the link free it. A fault of the
device may make its ticks late, or reset it.
"""

import argparse
import json
import sys
import time
from collections.abc import Iterable
from contextlib import closing, suppress

from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_sim.bench_device import bench_settings, parse_sensors, parse_strengths
from emberbed_sim.control_channel import ControlChannel
from emberbed_sim.device_faults import BOOT_TICKS, DeviceFaults, hang_ticks
from emberbed_sim.engine import Answer, Engine, EngineError
from emberbed_sim.faults import FaultEvent, parse_fault, refuse_others
from emberbed_sim.link_faults import WireFaults
from emberbed_sim.loopback_wire import Wire
from emberbed_sim.plant.bench_plant import BenchPlant
from emberbed_sim.plant.fault_kind import ON_A_WIRE
from emberbed_sim.plant.heater import PLANTS, SimulatedHeater, bench_in_zones
from emberbed_sim.plant.parameters import BenchParameters, bench_for_board

MOST_OWED = 10
HELD_PAUSE_S = 0.05  # how long a stopped clock waits for the wire before it looks round
UNATTENDED_SPEED = 50.0  # of real time, when no host is known and no speed limits it
MOST_BEHIND_S = 1.0  # real time that is caught up after a stall
GAVE_UP = 2


class VirtualDevice:
    """Moves the firmware and the heater on, tick by tick, as time and the host allow."""

    def __init__(
        self, heater: SimulatedHeater, engine: Engine, wire: Wire, control: ControlChannel,
        speed: float | None, faults: Iterable[FaultEvent] = (),
    ) -> None:  # fmt: skip
        self._heater = heater
        self._engine = engine
        self._wire = wire
        self._control = control
        self._tick_s = None if speed is None else 1 / TICKS_PER_S / speed
        self._device = DeviceFaults(faults)
        self._link = WireFaults(faults, heater.seed)
        self._elapsed_ms = TICK_MS
        self._outputs = (0, 0)  # zones and output bits of the last tick
        self._owed = 0
        self._speaks = True  # sends records, as it does to a host that it knows
        self._held_since: float | None = None

    def serve(self) -> None:
        """Run until the control channel ends."""
        first_heard = b""
        while not first_heard and not self._control.ended:
            first_heard = self._wire.wait(HELD_PAUSE_S)
        self._take(self._engine.wire_only(first_heard))
        due = time.monotonic()
        while not self._control.ended:
            now_s = self._heater.elapsed_s
            self._wire.plug(self._link.is_plugged(now_s))
            held = self._is_held(now_s)
            pause = HELD_PAUSE_S if held else due - time.monotonic()
            incoming = self._link.incoming(self._wire.wait(pause), now_s, held)
            if held:
                due = time.monotonic()
                self._take(self._engine.wire_only(incoming))
            elif time.monotonic() >= due:
                lasted = self._tick(incoming)
                due = max(due + lasted * self._step_s(), time.monotonic() - MOST_BEHIND_S)
            else:
                self._take(self._engine.wire_only(incoming))

    def _is_held(self, now_s: float) -> bool:
        """Tell whether the clock waits for the host; not for long while the link is at fault."""
        most_owed = MOST_OWED + self._link.delay_ticks(now_s)
        if self._owed <= most_owed or not self._wire.connected():
            self._held_since = None
            return False
        if self._held_since is None:
            self._held_since = time.monotonic()
        longest_s = self._link.longest_hold_s(now_s)
        return longest_s is None or time.monotonic() - self._held_since < longest_s

    def _step_s(self) -> float:
        if self._tick_s is None and not (self._wire.connected() and self._speaks):
            return 1 / TICKS_PER_S / UNATTENDED_SPEED
        return self._tick_s or 0.0

    def _tick(self, incoming: bytes) -> int:
        """Let the device make one tick; return how many of the bench it lasted."""
        heater, device = self._heater, self._device
        now_s = heater.elapsed_s
        flags = heater.port_flags | self._control.obey(heater, now_s) | device.flags(now_s)
        answer = self._engine.tick(
            self._elapsed_ms, flags, heater.fresh_channels, heater.words, incoming
        )
        self._outputs = (answer.zones, answer.outputs)
        pace = device.pace(now_s)
        self._elapsed_ms = pace.elapsed_ms
        self._pass_time(pace.bench_ticks)
        self._speaks = bool(answer.wire)
        self._take(answer)
        for event in device.due(heater.elapsed_s):
            self._reset(hang_ticks(event))
        return pace.bench_ticks

    def _pass_time(self, ticks: int) -> None:
        for _tick in range(ticks):
            self._heater.step(*self._outputs)

    def _reset(self, hangs_for: int) -> None:
        """Start the firmware anew, after it has left its outputs alone for so many ticks."""
        self._pass_time(hangs_for)
        self._outputs = (0, 0)
        self._pass_time(BOOT_TICKS)
        self._engine.start_anew()
        self._owed = 0

    def _take(self, answer: Answer) -> None:
        self._owed = answer.owed
        if answer.wire:
            self._wire.send(self._link.outgoing(answer.wire, self._heater.elapsed_s))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Emberbed's virtual device (started by emberbed)")
    parser.add_argument("--speed", default="1")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fault", action="append", default=[])
    parser.add_argument("--engine", choices=("auto", "micropython", "cpython"), default="auto")
    parser.add_argument("--mass-g", type=float, default=240.0)
    parser.add_argument("--length-mm", type=float, default=180.0)
    parser.add_argument("--width-mm", type=float, default=120.0)
    parser.add_argument("--plant", choices=PLANTS, default=PLANTS[0])
    parser.add_argument("--emitters", default="", metavar="SHARE,...", help="with --plant grid")
    parser.add_argument("--sensor", action="append", default=[], metavar="NAME:PLACE")
    return parser.parse_args()


def _plant(bench: BenchParameters, asked: argparse.Namespace) -> str | BenchPlant:
    """Return the plant as asked for: by its name, or a grid with these emitters."""
    if not asked.emitters:
        return asked.plant
    strengths = parse_strengths(asked.emitters)
    if asked.plant != "grid":
        raise ValueError("Emitters are told apart on a grid only; give the device --plant grid.")
    from emberbed_sim.plant.grid_thermal import GridThermal  # numpy: only where it is needed

    return GridThermal.of(bench, strengths)


def say(what: dict[str, str]) -> None:
    """Write one JSON line for the process that started this one."""
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def _serve(asked: argparse.Namespace) -> None:
    """Build the device, say where it listens, run it."""
    speed = None if asked.speed == "max" else float(asked.speed)
    faults = [parse_fault(text) for text in asked.fault]
    refuse_others(faults, ON_A_WIRE)
    sensors = parse_sensors(asked.sensor)
    board = bench_for_board(asked.mass_g, asked.length_mm, asked.width_mm, sensors)
    bench = bench_in_zones(board, asked.plant)
    heater = SimulatedHeater(bench, asked.seed, faults, _plant(bench, asked))
    nonce = asked.seed * 7919 % 0x3FFFFFF + 1
    with (
        closing(Engine(bench_settings(bench), nonce, asked.engine)) as engine,
        closing(Wire()) as wire,
    ):
        say(
            {
                "url": f"socket://127.0.0.1:{wire.port}",
                "engine": engine.name,
                "firmware_digest": engine.digest.hex(),
            }
        )
        control = ControlChannel(sys.stdin)
        VirtualDevice(heater, engine, wire, control, speed, faults).serve()


def main() -> int:
    """Run the device; return 0 after a proper end, GAVE_UP with a reason otherwise."""
    asked = _arguments()
    try:
        _serve(asked)
    except (ValueError, OSError, EngineError) as error:
        with suppress(OSError):  # nobody may be left to hear it
            say({"error": str(error)})
        return GAVE_UP
    except KeyboardInterrupt:  # started by hand in a terminal
        return 0
    return 0


if __name__ == "__main__":
    sys.exit(main())
