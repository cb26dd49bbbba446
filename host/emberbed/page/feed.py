"""The live state of the bench between two threads: the run's loop writes, the page's server reads.

Rows of the curve are floats in one flat array, a row a record: seconds since the press, asked for,
power in percent, then each column's temperature; NaN for none. Whoever waits is woken by `wake`,
which must be safe to call from any thread. Nothing here blocks the writer.
"""

import math
import threading
import time
from array import array
from collections.abc import Callable, Sequence
from typing import Any

FIXED_COLUMNS = ("seconds", "asked_c", "power_percent")
MOST_EVENTS = 200


class Feed:
    """`desk` tells what the page's desk does, `facts` the moment of its run, `look` what a device
    without a run says."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._wakers: list[Callable[[], None]] = []
        self._rows = array("f")
        self._columns: list[str] = []
        self._facts: dict[str, Any] | None = None
        self._events: list[dict[str, Any]] = []
        self._pins: list[dict[str, Any]] = []
        self._about: dict[str, Any] = {}
        self._desk: dict[str, Any] = {"state": "idle"}
        self._look: dict[str, Any] | None = None
        self._heard_s = 0.0

    # writing

    def begin(self, about: dict[str, Any], columns: Sequence[str]) -> None:
        """Begin the curve of a new run; `about` is what does not change in it."""
        with self._lock:
            self._rows = array("f")
            self._columns = [*FIXED_COLUMNS, *columns]
            self._about = about
            self._events, self._pins, self._facts = [], [], None
            self._heard_s = time.monotonic()
        self._wake()

    def add_row(self, row: Sequence[float | None]) -> None:
        """Add one record to the curve; nobody is woken, `put_facts` does that."""
        with self._lock:
            self._rows.extend(math.nan if number is None else number for number in row)
            self._heard_s = time.monotonic()

    def put_facts(self, facts: dict[str, Any] | None) -> None:
        with self._lock:
            self._facts = facts
            self._heard_s = time.monotonic()
        self._wake()

    def add_event(self, event: dict[str, Any]) -> None:
        with self._lock:
            self._events = [*self._events[-MOST_EVENTS + 1 :], event]
        self._wake()

    def add_pin(self, pin: dict[str, Any]) -> None:
        """Stick something to the curve at a time: a mark, a stage, a trip."""
        with self._lock:
            self._pins = [*self._pins, pin]

    def put_desk(self, **desk: Any) -> None:
        with self._lock:
            self._desk = desk
        self._wake()

    def put_look(self, look: dict[str, Any] | None) -> None:
        with self._lock:
            self._look = look
        self._wake()

    # reading

    def desk(self) -> dict[str, Any]:
        with self._lock:
            return dict(self._desk)

    def run_id(self) -> int | None:
        with self._lock:
            return self._about.get("run_id")

    def snapshot(self) -> dict[str, Any]:
        """Return everything but the rows; `rows` is how many there are."""
        with self._lock:
            return {
                "desk": dict(self._desk),
                "about": self._about,
                "facts": self._facts,
                "look": self._look,
                "events": self._events,
                "pins": self._pins,
                "columns": self._columns,
                "rows": self._count(),
                "silent_s": round(time.monotonic() - self._heard_s, 2),
            }

    def rows_from(self, first: int, most: int | None = None) -> array:
        """Return the flat rows from number `first` on."""
        with self._lock:
            width = len(self._columns)
            end = None if most is None else (first + most) * width
            return self._rows[first * width : end]

    def listen(self, wake: Callable[[], None]) -> Callable[[], None]:
        """Call `wake` after every change; return how to end that."""
        with self._lock:
            self._wakers.append(wake)

        def end() -> None:
            with self._lock:
                self._wakers.remove(wake)

        return end

    def listeners(self) -> int:
        with self._lock:
            return len(self._wakers)

    def _count(self) -> int:
        return len(self._rows) // len(self._columns) if self._columns else 0

    def _wake(self) -> None:
        with self._lock:
            wakers = list(self._wakers)
        for wake in wakers:
            wake()
