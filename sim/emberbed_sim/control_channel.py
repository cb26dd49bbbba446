"""The virtual device's control channel: what a hand does, which no message of a link can do.

Lines of text on a stream of its own (standard input), which real devices do not have: `hold
SECONDS` and `tap` move the button, anything else is ignored. Its end is the end of the device, so a
device never outlives the program that started it.
"""

import queue
import threading
from collections.abc import Iterable
from math import isfinite

from emberbed_fw.record import PORT_BUTTON

TAP_S = 0.3


class ControlChannel:
    """Reads `lines` in a thread of its own; `ended` once they have ended."""

    def __init__(self, lines: Iterable[str]) -> None:
        self._waiting: queue.Queue[str] = queue.Queue()
        self._down_until = 0.0  # simulated seconds
        self._stream_ended = threading.Event()
        threading.Thread(target=self._read, args=(lines,), daemon=True).start()

    @property
    def ended(self) -> bool:
        """Tell whether the lines have ended and all of them have been obeyed."""
        return self._stream_ended.is_set() and self._waiting.empty()

    def button(self, now_s: float) -> int:
        """Return PORT_BUTTON while the button is down at this simulated time."""
        while not self._waiting.empty():
            self._down_until = max(self._down_until, now_s + _held_s(self._waiting.get()))
        return PORT_BUTTON if now_s < self._down_until else 0

    def _read(self, lines: Iterable[str]) -> None:
        try:
            for line in lines:
                self._waiting.put(line.strip())
        except (OSError, ValueError):
            pass  # broken or undecodable: nobody speaks here any more
        self._stream_ended.set()


def _held_s(line: str) -> float:
    """Return how long a line holds the button down, in simulated seconds."""
    word, _, number = line.partition(" ")
    if word == "tap":
        return TAP_S
    try:
        held_s = float(number)
    except ValueError:
        return 0.0
    return held_s if word == "hold" and isfinite(held_s) else 0.0
