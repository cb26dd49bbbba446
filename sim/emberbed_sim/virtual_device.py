"""The virtual device: firmware in its interpreter, simulated heater, one wire on loopback TCP.

A process of its own (`python -m emberbed_sim.virtual_device`). Prints one JSON line when it is
ready (url, engine, firmware fingerprint), then reads its control channel, which real devices do not
have, from standard input: `hold SECONDS` and `tap` move the button, and its end is the end of the
device. Ticks have exactly 100 ms stamps at any speed; the clock stops while more than 10 records
are unacknowledged, and the fault `host_silent` frees it.
"""

import argparse
import json
import queue
import select
import socket
import sys
import threading
import time

from emberbed_fw.record import PORT_BUTTON
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.engine import Answer, Engine, EngineError
from emberbed_sim.faults import FaultEvent, parse_fault
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import DEFAULT_SENSORS, bench_for_board

MOST_OWED = 10
MOST_UNSENT = 1 << 20  # a host that never reads loses bytes, as on a real wire
UNATTENDED_SPEED = 50.0  # of real time, when nobody is connected and no speed limits it
TAP_S = 0.3


class Wire:
    """One TCP client at a time; never blocks."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._client: socket.socket | None = None
        self._unsent = b""

    def connected(self) -> bool:
        return self._client is not None

    def wait(self, seconds: float) -> bytes:
        """Return what came in, waiting up to `seconds` for something to happen."""
        watched = [self._client or self._listener]
        wants_write = [self._client] if self._client and self._unsent else []
        ready, writable, _ = select.select(watched, wants_write, [], max(0.0, seconds))
        if writable:
            self._flush()
        if not ready:
            return b""
        if self._client is None:
            self._client, _address = self._listener.accept()
            self._client.setblocking(False)
            self._client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return b""
        return self._receive()

    def send(self, octets: bytes) -> None:
        if self._client is not None and len(self._unsent) + len(octets) <= MOST_UNSENT:
            self._unsent += octets
            self._flush()

    def _receive(self) -> bytes:
        assert self._client
        try:
            octets = self._client.recv(4096)
        except BlockingIOError:
            return b""
        except OSError:
            octets = b""
        if not octets:
            self._drop()
        return octets

    def _flush(self) -> None:
        assert self._client
        try:
            self._unsent = self._unsent[self._client.send(self._unsent) :]
        except BlockingIOError:
            return
        except OSError:
            self._drop()

    def _drop(self) -> None:
        if self._client:
            self._client.close()
        self._client = None
        self._unsent = b""


class ControlChannel:
    """Lines on standard input, read by a thread of their own."""

    def __init__(self) -> None:
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._down_until = 0.0  # simulated seconds
        self.ended = False
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        for line in sys.stdin:
            self._lines.put(line.strip())
        self._lines.put(None)

    def button(self, now_s: float) -> int:
        """Return PORT_BUTTON while the button is down at this simulated time."""
        while not self._lines.empty():
            line = self._lines.get()
            if line is None:
                self.ended = True
            elif line == "tap":
                self._down_until = now_s + TAP_S
            elif line.startswith("hold "):
                self._down_until = now_s + float(line[5:])
        return PORT_BUTTON if now_s < self._down_until else 0


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
        self._last = Answer(0, 0, 0, b"")

    def serve(self) -> None:
        """Run until the control channel ends."""
        due = time.monotonic()
        while not self._control.ended:
            silent = any(event.active_at(self._heater.elapsed_s) for event in self._silences)
            incoming = self._wire.wait(self._pause(due, silent))
            if silent:
                incoming = b""
            if self._owed > MOST_OWED and self._wire.connected() and not silent:
                due = time.monotonic()
                self._control.button(self._heater.elapsed_s)
                self._take(self._engine.wire_only(incoming))
            elif self._is_due(due):
                self._tick(incoming)
                due = max(due + self._step_s(), time.monotonic() - 1.0)
            else:
                self._take(self._engine.wire_only(incoming))

    def _step_s(self) -> float:
        if self._tick_s is None and not self._wire.connected():
            return 1 / TICKS_PER_S / UNATTENDED_SPEED
        return self._tick_s or 0.0

    def _is_due(self, due: float) -> bool:
        return time.monotonic() >= due

    def _pause(self, due: float, silent: bool) -> float:
        if self._owed > MOST_OWED and self._wire.connected() and not silent:
            return 0.05
        return due - time.monotonic()

    def _tick(self, incoming: bytes) -> None:
        heater = self._heater
        flags = heater.port_flags | self._control.button(heater.elapsed_s)
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
    return parser.parse_args()


def say(what: dict[str, str]) -> None:
    """Write one JSON line for the process that started this one."""
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def main() -> int:
    """Start the device, say where it listens, serve. Bad arguments: one JSON line, exit 2."""
    asked = _arguments()
    try:
        speed = None if asked.speed == "max" else float(asked.speed)
        faults = [parse_fault(text) for text in asked.fault]
        bench = bench_for_board(asked.mass_g, asked.length_mm, asked.width_mm, DEFAULT_SENSORS)
        heater = SimulatedHeater(bench, asked.seed, faults)
        engine = Engine(bench_settings(bench), asked.seed * 7919 % 0x3FFFFFF + 1, asked.engine)
    except (ValueError, EngineError) as error:
        say({"error": str(error)})
        return 2
    wire = Wire()
    ready = {
        "url": f"socket://127.0.0.1:{wire.port}",
        "engine": engine.name,
        "firmware_digest": engine.digest.hex(),
    }
    say(ready)
    silences = [fault for fault in faults if fault.name == "host_silent"]
    try:
        VirtualDevice(heater, engine, wire, ControlChannel(), speed, silences).serve()
    finally:
        engine.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
