"""A device in its injection entry, as a process: the firmware in its interpreter, one wire.

`python -m emberbed_sim.injection_device` prints one JSON line when it is ready (url, engine,
firmware fingerprint) and obeys standard input until that ends: `power` takes the supply away for a
moment. What a watchdog is on a board, this process is here: unfed for WATCHDOG_S, the interpreter
is ended and started anew; the cable's far end is gone meanwhile, as with USB. Needs POSIX.
"""

import argparse
import json
import os
import select
import signal
import struct
import subprocess
import sys
import threading
import time
from contextlib import closing, suppress

from emberbed_fw.device_port import RESET_COMMANDED, RESET_POWER, RESET_WATCHDOG
from emberbed_fw.units import TICK_MS
from emberbed_sim.bench_device import ALL_SENSES, NO_SENSES, bench_settings, parse_sensors
from emberbed_sim.engine import EngineError, find_interpreter, firmware_digest, firmware_folder
from emberbed_sim.inject_board import FED, PIECE, WIRE
from emberbed_sim.loopback_wire import Wire
from emberbed_sim.plant.parameters import bench_for_board

ENTRY = "emberbed_sim.inject_board"
HEAP = "1M"  # compiles more sources than the virtual device; memory is measured elsewhere
WATCHDOG_S = 1.5  # contracts: 1 to 2 s
BOOT_S = 20.0  # until it is fed for the first time; sources are compiled meanwhile
UNPLUGGED_S = 0.3
LOOK_ROUND_S = TICK_MS / 1000
READ_BYTES = 65536
MOST_PIECE = 4096
NUMBER = b"inject\0\1"  # of this board
GAVE_UP = 2


class Board:
    """The interpreter and what hangs on it; `start` it, ask whether it `is_alive`."""

    def __init__(self, settings: bytes, wanted: str) -> None:
        self.name, self._command = find_interpreter(wanted, ENTRY, HEAP)
        self._settings = settings
        self._nonce = 1
        self.digest = firmware_digest()
        root = firmware_folder().parent
        sim = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
        paths = f"{root}{os.pathsep}{sim}"
        self._environment = {**os.environ, "MICROPYPATH": paths, "PYTHONPATH": paths}
        self._pieces = b""
        self.start()

    def start(self, cause: int = RESET_POWER) -> None:
        """Switch it on, or start it anew for a reason (RESET_*); it remembers nothing."""
        self._child = subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=self._environment,
            bufsize=0,
            start_new_session=True,  # the interpreter may be a child of what is started here
        )
        self._pieces = b""
        self._nonce += 1
        self._due_s = time.monotonic() + BOOT_S
        head = struct.pack("<H", len(self._settings)) + self._settings
        self._write(
            head + struct.pack("<I", self._nonce) + self.digest[:8] + NUMBER + bytes([cause])
        )

    def end(self) -> None:
        """Take its supply away."""
        with suppress(ProcessLookupError):  # it has just ended by itself
            os.killpg(self._child.pid, signal.SIGKILL)
        self._child.wait()
        for pipe in (self._child.stdin, self._child.stdout):
            if pipe:
                pipe.close()

    @property
    def handle(self) -> int:
        assert self._child.stdout
        return self._child.stdout.fileno()

    def ended(self) -> int | None:
        """Return why it does not run any more (RESET_*), None while it runs and feeds its
        watchdog."""
        if self._child.poll() is not None:
            return RESET_COMMANDED
        return None if time.monotonic() < self._due_s else RESET_WATCHDOG

    def hear(self, octets: bytes) -> None:
        """Give it what came over the wire."""
        for at in range(0, len(octets), MOST_PIECE):
            piece = octets[at : at + MOST_PIECE]
            self._write(struct.pack("<H", len(piece)) + piece)

    def say(self) -> bytes:
        """Return what it has put on the wire since; take note of its feeding."""
        if not select.select([self.handle], [], [], 0)[0]:
            return b""
        self._pieces += os.read(self.handle, READ_BYTES)
        said = b""
        size = struct.calcsize(PIECE)
        while len(self._pieces) >= size:
            what, length = struct.unpack_from(PIECE, self._pieces)
            if len(self._pieces) < size + length:
                break
            if what == WIRE:
                said += self._pieces[size : size + length]
            elif what == FED:
                self._due_s = time.monotonic() + WATCHDOG_S
            self._pieces = self._pieces[size + length :]
        return said

    def _write(self, octets: bytes) -> None:
        assert self._child.stdin
        with suppress(OSError):  # it has just been reset
            self._child.stdin.write(octets)


class Hands:
    """What is done to the board, read from standard input in a thread of its own."""

    def __init__(self) -> None:
        self.ended = False
        self._asked: list[str] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        for line in sys.stdin:
            self._asked.append(line.strip())
        self.ended = True

    def take(self) -> list[str]:
        asked, self._asked = self._asked, []
        return asked


def serve(board: Board, wire: Wire, hands: Hands) -> None:
    """Carry bytes between the wire and the board until the hands are gone."""
    while not hands.ended:
        board.hear(wire.wait(LOOK_ROUND_S, (board.handle,)))
        said = board.say()
        if said:
            wire.send(said)
        if "power" in hands.take():
            _start_anew(board, wire, RESET_POWER)
        cause = board.ended()
        if cause is not None:
            _start_anew(board, wire, cause)


def _start_anew(board: Board, wire: Wire, cause: int) -> None:
    board.end()
    wire.plug(False)
    time.sleep(UNPLUGGED_S)
    wire.plug(True)
    board.start(cause)


def main() -> int:
    """Run the device; return 0 after a proper end, GAVE_UP with a reason otherwise."""
    parser = argparse.ArgumentParser(description="A device that takes injected readings")
    parser.add_argument("--engine", choices=("auto", "micropython", "cpython"), default="auto")
    parser.add_argument("--sensor", action="append", default=[], metavar="NAME:PLACE")
    parser.add_argument("--no-senses", action="store_true", help="no mirror contact, no current")
    asked = parser.parse_args()
    try:
        bench = bench_for_board(240.0, 180.0, 120.0, parse_sensors(asked.sensor))
        has = NO_SENSES if asked.no_senses else ALL_SENSES
        board = Board(bench_settings(bench, has), asked.engine)
    except (ValueError, OSError, EngineError) as error:
        print(json.dumps({"error": str(error)}), flush=True)  # noqa: T201  (who started us reads it)
        return GAVE_UP
    with closing(Wire()) as wire:
        ready = {
            "url": f"socket://127.0.0.1:{wire.port}",
            "engine": board.name,
            "firmware_digest": board.digest.hex(),
        }
        print(json.dumps(ready), flush=True)  # noqa: T201  (who started us reads it)
        try:
            serve(board, wire, Hands())
        finally:
            board.end()
    return 0


if __name__ == "__main__":
    sys.exit(main())
