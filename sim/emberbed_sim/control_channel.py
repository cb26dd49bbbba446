"""The virtual device's control channel: what hands do, which no message of a link can do.

Lines of text on a stream of its own (standard input), which real devices do not have: `hold
SECONDS` and `tap` move the button; `air on` and `air off` are the hot-air tool, `board` is a cold
board in place of the hot one, `finger CHANNEL SECONDS`, `lift CHANNEL`, `press CHANNEL`, `unplug
CHANNEL SECONDS` and `place CHANNEL X Y` (mm from the board's middle) are for a bead; so are
`bath CHANNEL ice`, `bath CHANNEL boiling KPA`, `bath CHANNEL freezing DEGC`, `bath CHANNEL block
DEGC`, `bath CHANNEL none`, and `wrong CHANNEL OFFSET_K GAIN`, a couple that misreads. Anything else
is ignored. Its end is the end of the device, so a device never outlives the program that started
it.
"""

import queue
import threading
from collections.abc import Iterable
from contextlib import suppress
from math import isfinite
from typing import Protocol

from emberbed_fw.record import PORT_BUTTON
from emberbed_sim.plant.fault_catalogue import HOT_AIR_C

TAP_S = 0.3


class Handled(Protocol):
    """A bench that hands can reach, as SimulatedHeater is; ValueError for what it has not got."""

    def blow(self, air_c: float | None) -> None: ...
    def change_board(self) -> None: ...
    def finger(self, channel: int, seconds: float) -> None: ...
    def lift(self, channel: int) -> None: ...
    def press(self, channel: int) -> None: ...
    def unplug(self, channel: int, seconds: float) -> None: ...
    def place(self, channel: int, x_mm: float, y_mm: float) -> None: ...
    def dip(self, channel: int, kind: str | None, number: float = 0.0) -> None: ...
    def misread(self, channel: int, offset_k: float, gain: float) -> None: ...


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

    def obey(self, bench: Handled, now_s: float) -> int:
        """Do what the lines say; return PORT_BUTTON while the button is down at this time."""
        while not self._waiting.empty():
            with suppress(ValueError):  # no number, or no such channel: ignored
                self._obey_line(self._waiting.get(), bench, now_s)
        return PORT_BUTTON if now_s < self._down_until else 0

    def _obey_line(self, line: str, bench: Handled, now_s: float) -> None:
        match line.split():
            case ["tap"]:
                self._hold(now_s, TAP_S)
            case ["hold", seconds]:
                self._hold(now_s, _finite(seconds))
            case ["air", "on"]:
                bench.blow(HOT_AIR_C)
            case ["air", "off"]:
                bench.blow(None)
            case ["board"]:
                bench.change_board()
            case [act, channel, *rest]:
                _obey_at_bead(bench, act, int(channel), rest)

    def _hold(self, now_s: float, seconds: float) -> None:
        """Hold the button; a shorter hold does not end a longer one."""
        self._down_until = max(self._down_until, now_s + seconds)

    def _read(self, lines: Iterable[str]) -> None:
        try:
            for line in lines:
                self._waiting.put(line.strip())
        except (OSError, ValueError):
            pass  # broken or undecodable: nobody speaks here any more
        self._stream_ended.set()


def _obey_at_bead(bench: Handled, act: str, channel: int, rest: list[str]) -> None:
    """Do what is done at one channel's bead."""
    match [act, *rest]:
        case ["finger", seconds]:
            bench.finger(channel, _finite(seconds))
        case ["lift"]:
            bench.lift(channel)
        case ["press"]:
            bench.press(channel)
        case ["unplug", seconds]:
            bench.unplug(channel, _finite(seconds))
        case ["place", x_mm, y_mm]:
            bench.place(channel, float(x_mm), float(y_mm))
        case ["bath", "none"]:
            bench.dip(channel, None)
        case ["bath", "ice"]:
            bench.dip(channel, "ice")
        case ["bath", kind, number]:
            bench.dip(channel, kind, _finite(number))
        case ["wrong", offset_k, gain]:
            bench.misread(channel, _finite(offset_k), _finite(gain))


def _finite(written: str) -> float:
    """Return a finite number; ValueError for anything else."""
    number = float(written)
    if not isfinite(number):
        raise ValueError(f"'{written}' is no number")
    return number
