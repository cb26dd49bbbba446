"""A run's records as columns of numbers: what figures and charts are made of.

Seconds since the first record, temperatures in degrees C with NaN for no reading, power in percent.
What a person did is rare: it comes as a list of Deeds beside the columns.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import NamedTuple

import numpy as np

from emberbed.records import TickRecord
from emberbed.store.elapsed import with_elapsed_s
from emberbed_fw import run_states
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, NO_READING_CDEG, TICK_MS

_FIELDS = (
    "elapsed_ms", "tick", "state", "verdict", "stage", "trip", "energy_j", "demand0_q15",
    "setpoint_cdeg", "waits_for", "offset_cdeg",
) + tuple(f"channel{channel}_cdeg" for channel in range(CHANNELS))  # fmt: skip
_COLUMNS = ("seconds", *_FIELDS)
_CHUNK = 10_000  # a day has 864,000 records; as Python numbers they would fill half a gigabyte


class Deed(NamedTuple):
    """What a person did in one tick: a change, an answer, a mark; 0 for none of them."""

    at: int  # index of its record in the columns
    touch: int  # messages.TOUCH_NAMES
    source: int  # messages.SOURCE_NAMES
    mark: int  # messages.MARK_NAMES


@dataclass(frozen=True)
class RunSeries:
    """Columns of equal length, one entry per record in tick order."""

    seconds: np.ndarray
    lasts_s: np.ndarray  # how long each tick lasted
    step_s: np.ndarray  # the same, with ticks missing before it counted to it
    tick: np.ndarray
    state: np.ndarray
    verdict: np.ndarray
    stage: np.ndarray
    trip: np.ndarray
    energy_j: np.ndarray
    demand_percent: np.ndarray
    setpoint_c: np.ndarray
    waits_for: np.ndarray
    offset_c: np.ndarray  # by which a person had shifted the targets
    channels_c: list[np.ndarray]  # always 8
    deeds: list[Deed]

    def __len__(self) -> int:
        return len(self.tick)

    def seconds_of_tick(self, tick: int) -> float:
        """Return the time of a tick, also of one outside the record or missing in it."""
        if not len(self):
            return 0.0
        at = int(np.clip(np.searchsorted(self.tick, tick), 0, len(self) - 1))
        return float(self.seconds[at] + (tick - self.tick[at]) * TICK_MS / 1000)

    def seconds_inside(self, tick: int) -> float | None:
        """Return the time of a tick, None when it lies outside of the record."""
        inside = len(self) and self.tick[0] <= tick <= self.tick[-1]
        return self.seconds_of_tick(tick) if inside else None

    def reading_at(self, channel: int, tick: int) -> float | None:
        """Return the reading of `channel` in a tick, None when there is none."""
        at = int(np.searchsorted(self.tick, tick))
        if at == len(self) or self.tick[at] != tick:
            return None
        celsius = float(self.channels_c[channel][at])
        return None if np.isnan(celsius) else celsius

    def press_at(self) -> int | None:
        """Return the index of the first record after the press, None when nobody pressed."""
        heating = np.flatnonzero(np.isin(self.state, run_states.HEATING_STATES))
        return int(heating[0]) if len(heating) else None

    def drawn(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return (seconds, values) with a NaN wherever records are missing: a line breaks there."""
        gaps = np.flatnonzero(np.diff(self.tick) > 1) + 1
        return np.insert(self.seconds, gaps, self.seconds[gaps]), np.insert(values, gaps, np.nan)

    def longest_gap_s(self) -> float:
        """Return the longest time for which records are missing, 0 for none."""
        missing = np.diff(self.tick) - 1
        return float(missing.max(initial=0)) * TICK_MS / 1000


def series_of(records: Iterable[TickRecord]) -> RunSeries:
    """Collect `records`, which come in tick order."""
    deeds: list[Deed] = []
    timed = with_elapsed_s(_noting(records, deeds))
    parts = [np.empty((0, len(_COLUMNS)))]
    while chunk := [_row(elapsed_s, record) for elapsed_s, record in islice(timed, _CHUNK)]:
        parts.append(np.array(chunk))
    columns = dict(zip(_COLUMNS, np.concatenate(parts).T, strict=True))
    lasts_s = columns["elapsed_ms"] / 1000
    return RunSeries(
        seconds=columns["seconds"],
        lasts_s=lasts_s,
        step_s=np.concatenate([lasts_s[:1], np.diff(columns["seconds"])]),
        tick=columns["tick"].astype(np.int64),
        state=columns["state"].astype(np.int64),
        verdict=columns["verdict"].astype(np.int64),
        stage=columns["stage"].astype(np.int64),
        trip=columns["trip"].astype(np.int64),
        energy_j=columns["energy_j"].astype(np.int64),
        demand_percent=columns["demand0_q15"] * 100 / FULL_POWER_Q15,
        setpoint_c=_celsius(columns["setpoint_cdeg"]),
        waits_for=columns["waits_for"].astype(np.uint8),
        offset_c=columns["offset_cdeg"] / 100,
        channels_c=[_celsius(columns[f"channel{channel}_cdeg"]) for channel in range(CHANNELS)],
        deeds=deeds,
    )


def _noting(records: Iterable[TickRecord], deeds: list[Deed]) -> Iterator[TickRecord]:
    """Give the records on, and note in `deeds` what a person did in each."""
    for at, record in enumerate(records):
        if record.touch or record.mark:
            deeds.append(Deed(at, record.touch, record.touch_source, record.mark))
        yield record


def _row(elapsed_s: float, record: TickRecord) -> tuple[float, ...]:
    return (elapsed_s, *(getattr(record, name) for name in _FIELDS))


def _celsius(cdeg: np.ndarray) -> np.ndarray:
    return np.where(cdeg == NO_READING_CDEG, np.nan, cdeg / 100)
