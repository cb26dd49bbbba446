"""Whoever stands at the bench: a person at the keyboard, or a script in their place.

Answers prompts and asks for stopping. Only the virtual device's button can be reached from here,
over its own control channel; a real one has to be pressed.
"""

import signal
import time
from types import FrameType

from emberbed.bench.keys import Keys
from emberbed.bench.virtual import VirtualDevice
from emberbed.records import TickRecord
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S

BUTTON_KEY = "b"
ANSWER_KEYS = "\n "
SETTLE_S = 0.7  # keys within it were meant for something else
PRESS_HEARD_S = 5  # a press that the device has not taken by then is made again
SCRIPT_ANSWERS_AFTER_S = 20.0  # simulated seconds a person would need for the work


class StopSignal:
    """Counts Ctrl-C instead of raising: the loop decides what it means."""

    def __init__(self) -> None:
        self.count = 0
        self._before: object = None

    def __enter__(self) -> "StopSignal":
        self._before = signal.signal(signal.SIGINT, self._note)
        return self

    def __exit__(self, *_error: object) -> None:
        signal.signal(signal.SIGINT, self._before)  # type: ignore[arg-type]

    def _note(self, _number: int, _frame: FrameType | None) -> None:
        self.count += 1


class ScriptedHand:
    """Presses the virtual button when it is asked for and answers prompts after a while."""

    def __init__(self, virtual: VirtualDevice, stop: StopSignal) -> None:
        self._virtual = virtual
        self._stop = stop
        self._heard_by_tick = -1
        self._asked_since = 0
        self._prompt = NONE

    def answers(self, record: TickRecord) -> int | None:
        if record.waits_for == rs.WAITS_PRESS and record.tick > self._heard_by_tick:
            self._virtual.hold_button()
            self._heard_by_tick = record.tick + PRESS_HEARD_S * TICKS_PER_S
        if record.prompt != self._prompt:
            self._prompt = record.prompt
            self._asked_since = record.tick
        waited = record.tick - self._asked_since
        if record.prompt == NONE or waited < SCRIPT_ANSWERS_AFTER_S * TICKS_PER_S:
            return None
        self._asked_since = record.tick
        return record.prompt

    def stops(self) -> int:
        return self._stop.count


class PersonAtKeyboard:
    """Enter or Space answers the prompt on the screen; B stands for the virtual button."""

    def __init__(self, keys: Keys, virtual: VirtualDevice | None, stop: StopSignal) -> None:
        self._keys = keys
        self._virtual = virtual
        self._stop = stop
        self._prompt = NONE
        self._shown_s = 0.0

    def answers(self, record: TickRecord) -> int | None:
        pressed = self._keys.pressed()
        now_s = time.monotonic()
        if record.prompt != self._prompt:
            self._prompt = record.prompt
            self._shown_s = now_s
        if self._virtual is not None and BUTTON_KEY in pressed.lower():
            self._virtual.hold_button()
        answered = any(key in ANSWER_KEYS for key in pressed)
        if not answered or record.prompt == NONE or now_s - self._shown_s < SETTLE_S:
            return None
        return record.prompt

    def stops(self) -> int:
        return self._stop.count
