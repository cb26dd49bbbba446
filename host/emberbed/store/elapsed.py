"""The time axis of a run: seconds since its first record, from the device's own milliseconds."""

from collections.abc import Iterable, Iterator

from emberbed.records import TickRecord
from emberbed_fw.units import TICK_MS


def with_elapsed_s(records: Iterable[TickRecord]) -> Iterator[tuple[float, TickRecord]]:
    """Give (seconds since the first record, record), in tick order.

    A record knows the milliseconds since the tick before it; ticks that are missing from the store
    count as TICK_MS each.
    """
    elapsed_ms = 0
    before: int | None = None
    for record in records:
        if before is not None:
            elapsed_ms += record.elapsed_ms + (record.tick - before - 1) * TICK_MS
        before = record.tick
        yield elapsed_ms / 1000, record
