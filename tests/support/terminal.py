"""A command in a pseudo-terminal of its own: what a person types and sees. POSIX only."""

import os
import select
import subprocess
import sys
import time

from tests.support.command import COMMAND, LONGEST_S, environment

COLUMNS, LINES = 100, 34
CTRL_C = "\x03"
# the child becomes leader of a session with the terminal, so that Ctrl-C there is a signal to it
TAKE_TERMINAL = """
import fcntl, os, sys, termios
os.setsid()
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
os.execv(sys.argv[1], sys.argv[1:])
"""


class Terminal:
    """`emberbed WORDS` in a terminal of 100 columns; leave its `with` and it is gone."""

    def __init__(self, *words: object) -> None:
        import fcntl
        import struct
        import termios

        self._keyboard, screen = os.openpty()
        fcntl.ioctl(screen, termios.TIOCSWINSZ, struct.pack("HHHH", LINES, COLUMNS, 0, 0))
        self.process = subprocess.Popen(
            [sys.executable, "-c", TAKE_TERMINAL, *COMMAND, *map(str, words)],
            stdin=screen,
            stdout=screen,
            stderr=screen,
            env=environment(TERM="xterm-256color", COLUMNS="", LINES=""),
        )
        os.close(screen)
        self.seen = ""
        self._at = 0  # what was found up to here is not found again

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_error: object) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self._keyboard)

    def type(self, keys: str) -> None:
        os.write(self._keyboard, keys.encode())

    def until(self, wanted: str, longest_s: float = LONGEST_S) -> None:
        """Wait until `wanted` is shown anew."""
        end_s = time.monotonic() + longest_s
        while (found := self.seen.find(wanted, self._at)) < 0:
            if time.monotonic() > end_s or not self._read(0.5):
                raise AssertionError(f"{wanted!r} was not shown; at last:\n{self.seen[-3000:]}")
        self._at = found + len(wanted)

    def end(self, longest_s: float = LONGEST_S) -> int:
        """Read to the end; return the exit code."""
        end_s = time.monotonic() + longest_s
        while self._read(0.5):
            assert time.monotonic() < end_s, f"it does not end:\n{self.seen[-3000:]}"
        return self.process.wait(5)

    def _read(self, wait_s: float) -> bool:
        """Take what is shown, waiting for it; tell whether there can be more."""
        ready, _, _ = select.select([self._keyboard], [], [], wait_s)
        if not ready:
            return True
        try:
            shown = os.read(self._keyboard, 65536)
        except OSError:  # Linux: the other side is closed
            return False
        self.seen += shown.decode("utf-8", "replace")
        return bool(shown)
