"""Whoever stands at the bench: a person at the keyboard. (A script in their place: script_hand.)

Says what they want of the device in one turn of the loop, and how often they asked for stopping.
Only the virtual device's button and hot air can be reached from here, over its own control channel;
a real button has to be pressed.
"""

import signal
import threading
import time
from types import FrameType

from emberbed.bench import key_table
from emberbed.bench.keys import Keys
from emberbed.bench.progress import Progress
from emberbed.bench.virtual import VirtualDevice
from emberbed.bench.wishes import Wish
from emberbed.records import TickRecord
from emberbed_fw import messages
from emberbed_fw.units import NONE

SETTLE_S = 0.7  # keys within it were meant for something else
COOL_AGAIN_S = 3.0  # within it the second press means it


class StopSignal:
    """Counts Ctrl-C instead of raising: the loop decides what it means.

    In another thread than the main one no signal arrives: whoever watches the run stops it there.
    """

    def __init__(self) -> None:
        self.count = 0
        self._before: object = None

    def __enter__(self) -> "StopSignal":
        if threading.current_thread() is threading.main_thread():
            self._before = signal.signal(signal.SIGINT, self._note)
        return self

    def __exit__(self, *_error: object) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)  # type: ignore[arg-type]

    def _note(self, _number: int, _frame: FrameType | None) -> None:
        self.count += 1


class PersonAtKeyboard:
    """Single keys, as key_table has them. `cool_asked`: C was pressed, and waits for the second."""

    source = messages.BY_TERMINAL

    def __init__(self, keys: Keys, virtual: VirtualDevice | None, stop: StopSignal) -> None:
        self._keys = keys
        self._virtual = virtual
        self._stop = stop
        self._prompt = NONE
        self._shown_s = 0.0
        self._cool_until_s = 0.0
        self.air_on = False  # the virtual bench's hot air

    @property
    def cool_asked(self) -> bool:
        return time.monotonic() < self._cool_until_s

    def wishes(self, record: TickRecord, progress: Progress) -> list[Wish]:
        """Return what the keys pressed since the last call ask for, in order."""
        if record.prompt != self._prompt:
            self._prompt = record.prompt
            self._shown_s = time.monotonic()
        typed = [self._wish(key, progress) for key in self._keys.pressed().lower()]
        return [wish for wish in typed if wish is not None]

    def stops(self) -> int:
        return self._stop.count

    def forget_stops(self) -> None:
        self._stop.count = 0

    def hints(self, progress: Progress) -> list[str]:
        """Return the keys that do something now, for the panel."""
        told = key_table.hints(progress, cool_asked=self.cool_asked)
        if self._virtual is not None and progress.staged():
            told.append(f"{key_table.AIR_KEY.upper()}: hot air {'off' if self.air_on else 'on'}")
        return told

    def _wish(self, key: str, progress: Progress) -> Wish | None:
        if key in key_table.ANSWER_KEYS:
            return self._answer(progress)
        if self._virtual is not None and key in (key_table.BUTTON_KEY, key_table.AIR_KEY):
            self._work_virtual_bench(self._virtual, key)
            return None
        row = key_table.BY_KEY.get(key)
        if row is None or (key == key_table.COOL_KEY and not self._means_cooling(progress)):
            return None
        return row.wish(progress)

    def _answer(self, progress: Progress) -> Wish | None:
        now_s = time.monotonic()
        if now_s - self._shown_s < SETTLE_S:
            return None
        self._shown_s = now_s  # a key pressed twice answers once
        return key_table.answer_wish(progress)

    def _means_cooling(self, progress: Progress) -> bool:
        """Tell whether C was pressed twice in a row; where nothing heats once is enough."""
        if self.cool_asked or not progress.staged():
            self._cool_until_s = 0.0
            return True
        self._cool_until_s = time.monotonic() + COOL_AGAIN_S
        return False

    def _work_virtual_bench(self, virtual: VirtualDevice, key: str) -> None:
        if key == key_table.BUTTON_KEY:
            virtual.hold_button()
            return
        self.air_on = not self.air_on
        virtual.blow(self.air_on)
