"""A controller board on the table: the real MicroPython behind a serial line of its own.

Its flash is an image file with a real littlefs (board_boot.py), its line a pseudo-terminal that
stays open while the interpreter restarts, as a board's UART does. `power_cut` ends it in the middle
of a write; `changes` is every change its flash ever saw, in order.
"""

import contextlib
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

BOOT = Path(__file__).with_name("board_boot.py")
FLASH = "flash.img"  # in the board's folder
BLOCK_BYTES = 4096
BLOCKS = 352  # 1408 KiB, as on a board with 2 MB of flash
RP2, ESP32 = "rp2", "esp32"  # as sys.platform says it
HEAP = "1M"  # objects are twice as wide here as on a 32-bit board; the budget has a test of its own
END_S = 5.0


class Board:
    """A board with empty flash; use it in a `with`. platform: RP2 or ESP32."""

    def __init__(
        self, folder: Path, blocks: int = BLOCKS, broken_after: int = -1, platform: str = RP2
    ) -> None:
        self._platform = platform
        self.image = folder / FLASH
        self.journal = folder / "journal.bin"
        self._blocks = blocks
        self._broken_after = broken_after
        self.starts = 0
        if not self.image.exists():
            self.image.write_bytes(b"\xff" * (BLOCK_BYTES * blocks))
        self.journal.touch()
        self._fed = folder / "fed.bin"
        self._kept = folder / "kept.bin"
        self._kept.touch()
        self.bitten = 0  # how often the watchdog has ended the interpreter
        self._inner, inner_line = pty.openpty()
        self._outer, self._line = pty.openpty()
        for line in (inner_line, self._line, self._inner, self._outer):
            tty.setraw(line)
        self._inner_line = inner_line
        self.port = os.ttyname(self._line)
        self._ended = threading.Event()
        self._process: subprocess.Popen[bytes] | None = None
        self.powered = True
        self._threads = [
            threading.Thread(target=self._pump, daemon=True),
            threading.Thread(target=self._live, daemon=True),
            threading.Thread(target=self._watch, daemon=True),
        ]

    def __enter__(self) -> "Board":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        self._ended.set()
        if self._process is not None:
            self._process.kill()
        for thread in self._threads:
            thread.join(END_S)
        for handle in (self._inner, self._inner_line, self._outer, self._line):
            os.close(handle)

    def power_cycle(self) -> None:
        """Switch the board off and on again."""
        self.powered = True
        self._kept.write_bytes(b"")
        self._broken_after = -1
        self.restart()

    def restart(self) -> None:
        """Press its reset button."""
        if self._process is not None:
            self._process.kill()

    def changes(self) -> list[tuple[int, bytes]]:
        """Return (address, octets) of every change of the flash, in order."""
        journal, at, found = self.journal.read_bytes(), 0, []
        while at + 8 <= len(journal):
            address, length = struct.unpack_from("<II", journal, at)
            found.append((address, journal[at + 8 : at + 8 + length]))
            at += 8 + length
        return found

    def _live(self) -> None:
        """Start the interpreter, and start it again whenever it ends, while there is power."""
        while not self._ended.is_set():
            if not self.powered:
                self._ended.wait(0.02)
                continue
            command = [
                sys.executable, "-m", "micropython_unix", "-i", "-X", f"heapsize={HEAP}",
                str(BOOT), str(self.image), str(self.journal), str(self._blocks),
                str(self._broken_after), str(self._fed), str(self._kept),
                self._platform, str(BOOT.parent),
            ]  # fmt: skip
            self._fed.write_bytes(b"")
            self.starts += 1
            self._process = subprocess.Popen(
                command, stdin=self._inner_line, stdout=self._inner_line, stderr=self._inner_line
            )
            if self._process.wait() == -signal.SIGKILL and self._broken_after >= 0:
                self.powered = False  # the flash said so
                self._kept.write_bytes(b"")

    def _watch(self) -> None:
        """End the interpreter once its watchdog, if it was started, has not been fed in time."""
        while not self._ended.wait(0.1):
            told = self._fed.read_bytes() if self._fed.exists() else b""
            if len(told) < 4 or self._process is None:
                continue
            longest_s = struct.unpack("<I", told)[0] / 1000
            if time.time() - self._fed.stat().st_mtime > longest_s:
                self.bitten += 1
                self._process.kill()

    def _pump(self) -> None:
        """Carry bytes between the interpreter's line and the one that a host opens."""
        other = {self._inner: self._outer, self._outer: self._inner}
        while not self._ended.is_set():
            ready, _, _ = select.select(list(other), [], [], 0.05)
            for handle in ready:
                with contextlib.suppress(OSError):
                    os.write(other[handle], os.read(handle, 4096))
