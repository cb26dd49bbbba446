"""What the link hands over: records in what one transaction takes, the rest in sentences. Pure."""

from collections.abc import Iterator
from itertools import groupby
from typing import NamedTuple

from emberbed.link.events import (
    DEVICE,
    Damaged,
    Event,
    Gap,
    Record,
    SessionLost,
    Thinned,
    WrongVersion,
)
from emberbed.store.run_store import MOST_RECORDS
from emberbed_fw.units import TICKS_PER_S


class Trouble(NamedTuple):
    """One event of a run; `ends_record`: nothing more will come."""

    kind: str
    sentence: str
    ends_record: bool = False


def batches(events: list[Event]) -> Iterator[list[Record]]:
    """Give the records in what one transaction takes, those of the device apart from the others."""
    records = [event for event in events if isinstance(event, Record)]
    for _made, group in groupby(records, lambda record: record.origin == DEVICE):
        batch = list(group)
        for first in range(0, len(batch), MOST_RECORDS):
            yield batch[first : first + MOST_RECORDS]


def trouble_of(event: Event) -> Trouble | None:
    """Return what a person should know of it, None for nothing."""
    if isinstance(event, Gap):
        span = f"Readings {event.first} to {event.last} are lost"
        return Trouble("gap", f"{span}: the device had no room.")
    if isinstance(event, Thinned):
        span = f"Of readings {event.first} to {event.last}"
        return Trouble("gap", f"{span} the device kept one in {event.step / TICKS_PER_S:g} s.")
    if isinstance(event, Damaged):
        return Trouble("damage", f"{event.count} frames arrived damaged and were dropped.")
    if isinstance(event, (SessionLost, WrongVersion)):
        told = "The device was reset, or taken over by another program."
        return Trouble("link", told, ends_record=True)
    return None
