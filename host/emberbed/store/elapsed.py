"""The time axis of a run: seconds since its first record, from the device's own milliseconds."""

from collections.abc import Iterable, Iterator

from emberbed.records import TickRecord
from emberbed_fw.units import TICK_MS


class Elapsed:
    """Takes the records of a run in tick order; ticks that are missing count as TICK_MS each."""

    def __init__(self) -> None:
        self._elapsed_ms = 0
        self._before: int | None = None

    def at(self, record: TickRecord) -> float:
        """Return the seconds from the first record to this one."""
        if self._before is not None:
            missing = record.tick - self._before - 1
            self._elapsed_ms += record.elapsed_ms + missing * TICK_MS
        self._before = record.tick
        return self._elapsed_ms / 1000


def with_elapsed_s(records: Iterable[TickRecord]) -> Iterator[tuple[float, TickRecord]]:
    """Give (seconds since the first record, record), in tick order."""
    elapsed = Elapsed()
    for record in records:
        yield elapsed.at(record), record
