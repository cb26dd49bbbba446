"""The virtual device: firmware in its interpreter, simulated heater, one wire on loopback TCP.

A process of its own (`python -m emberbed_sim.virtual_device`). Prints one JSON line when it is
ready (url, engine, firmware fingerprint), then obeys its control channel on standard input until
that ends. Should it have to give up, it prints one more line with the reason and exits with 2. Its
clock starts when the first host speaks. Ticks have exactly 100 ms stamps at any speed; the clock
stops while more than 10 records are unacknowledged, and the fault `host_silent` frees it.
"""

import argparse
import json
import sys
import time
from contextlib import closing, suppress

from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.control_channel import ControlChannel
from emberbed_sim.engine import Answer, Engine, EngineError
from emberbed_sim.faults import FaultEvent, parse_fault
from emberbed_sim.loopback_wire import Wire
from emberbed_sim.plant.heater import PLANTS, SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board

MOST_OWED = 10
HELD_PAUSE_S = 0.05  # how long a stopped clock waits for the wire before it looks round
UNATTENDED_SPEED = 50.0  # of real time, when nobody is connected and no speed limits it
MOST_BEHIND_S = 1.0  # real time that is caught up after a stall
GAVE_UP = 2


class VirtualDevice:
    """Moves the firmware and the heater on, tick by tick, as time and the host allow."""

    def __init__(
        self, heater: SimulatedHeater, engine: Engine, wire: Wire, control: ControlChannel,
        speed: float | None, silences: list[FaultEvent],
    ) -> None:  # fmt: skip
        self._heater = heater
        self._engine = engine
        self._wire = wire
        self._control = control
        self._tick_s = None if speed is None else 1 / TICKS_PER_S / speed
        self._silences = silences
        self._owed = 0

    def serve(self) -> None:
        """Run until the control channel ends."""
        first_heard = b""
        while not first_heard and not self._control.ended:
            first_heard = self._wire.wait(HELD_PAUSE_S)
        self._take(self._engine.wire_only(first_heard))
        due = time.monotonic()
        while not self._control.ended:
            silent = any(event.active_at(self._heater.elapsed_s) for event in self._silences)
            held = self._owed > MOST_OWED and self._wire.connected() and not silent
            pause = HELD_PAUSE_S if held else due - time.monotonic()
            incoming = self._wire.wait(pause)
            if silent:
                incoming = b""
            if held:
                due = time.monotonic()
                self._take(self._engine.wire_only(incoming))
            elif time.monotonic() >= due:
                self._tick(incoming)
                due = max(due + self._step_s(), time.monotonic() - MOST_BEHIND_S)
            else:
                self._take(self._engine.wire_only(incoming))

    def _step_s(self) -> float:
        if self._tick_s is None and not self._wire.connected():
            return 1 / TICKS_PER_S / UNATTENDED_SPEED
        return self._tick_s or 0.0

    def _tick(self, incoming: bytes) -> None:
        heater = self._heater
        flags = heater.port_flags | self._control.obey(heater, heater.elapsed_s)
        answer = self._engine.tick(TICK_MS, flags, heater.fresh_channels, heater.words, incoming)
        heater.step(answer.zones, answer.outputs)
        self._take(answer)

    def _take(self, answer: Answer) -> None:
        self._owed = answer.owed
        if answer.wire:
            self._wire.send(answer.wire)


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
    parser.add_argument("--sensor", action="append", default=[], metavar="NAME:PLACE")
    return parser.parse_args()


def say(what: dict[str, str]) -> None:
    """Write one JSON line for the process that started this one."""
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def _serve(asked: argparse.Namespace) -> None:
    """Build the device, say where it listens, run it."""
    speed = None if asked.speed == "max" else float(asked.speed)
    faults = [parse_fault(text) for text in asked.fault]
    sensors = parse_sensors(asked.sensor)
    bench = bench_for_board(asked.mass_g, asked.length_mm, asked.width_mm, sensors)
    heater = SimulatedHeater(bench, asked.seed, faults, asked.plant)
    nonce = asked.seed * 7919 % 0x3FFFFFF + 1
    silences = [fault for fault in faults if fault.name == "host_silent"]
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
        VirtualDevice(heater, engine, wire, control, speed, silences).serve()


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
