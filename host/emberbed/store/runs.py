"""What the run store takes and gives: the facts of a run before it, and the run as stored."""

import sqlite3
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from typing import Any, Literal, TypeVar

from emberbed.store.chain import Stored

RunEnd = Literal["finished", "stopped", "tripped", "link_lost", "refused", "interrupted"]


def utc_now() -> str:
    """Return the time as the store keeps it: UTC, ISO 8601, milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


@dataclass(frozen=True)
class RunFacts:
    """All that is known when a run begins; hashed into the head of its chain."""

    profile_name: str
    profile_toml: str
    plan: bytes
    settings: bytes
    session: int
    device: str  # "virtual", or the port as the person named it
    engine: str  # what runs the firmware, in the device's words
    firmware_version: str
    firmware_digest: str  # hexadecimal
    host_version: str
    simulated: bool
    speed: str = "1"  # "1" to "max" for a virtual device
    seed: int | None = None
    started_utc: str = field(default_factory=utc_now)
    linked_to: int | None = None  # the run that this one goes on with, after a mended trip


@dataclass(frozen=True)
class RunSummary:
    """One run in a list. Times UTC in ISO 8601, `ticks` the number of stored records."""

    id: int
    started_utc: str
    last_stored_utc: str
    ended_utc: str | None
    state: str  # one of schema.RUN_STATES
    profile_name: str
    device: str
    engine: str
    simulated: bool
    exit_code: int | None
    trip: int
    limits_exceeded: int | None
    ticks: int
    first_tick: int | None
    last_tick: int | None
    head_sha256: str  # hexadecimal
    linked_to: int | None  # the run that this one goes on with, after a mended trip
    bundled_run: int | None  # its number in the store that it comes from; None: recorded here


@dataclass(frozen=True)
class StoredRun(RunSummary):
    """One run with everything its header holds."""

    profile_toml: str
    plan: bytes
    settings: bytes
    session: int
    firmware_version: str
    firmware_digest: str
    host_version: str
    seed: int | None
    speed: str
    trip_counts: bytes | None  # what ARM answered: trips of each code before this run


@dataclass(frozen=True)
class RunEvent:
    """Something that happened, told in one sentence; `tick` None when outside the record."""

    number: int
    tick: int | None
    kind: str
    sentence: str


@dataclass(frozen=True)
class Note:
    """What a person wrote about a run, then or years later."""

    number: int
    noted_utc: str
    sentence: str


@dataclass(frozen=True)
class Snapshot:
    """The device's whole memory after a tick; `numbers` as `snapshots.py` packs them."""

    tick: int
    numbers: bytes


@dataclass(frozen=True)
class Gap:
    """Ticks that are missing between stored ones, both ends included."""

    first_missing: int
    last_missing: int

    @property
    def ticks(self) -> int:
        return self.last_missing - self.first_missing + 1


@dataclass(frozen=True)
class Block:
    """One link of a run's chain: the header (number 0), at most ten records, or the closing."""

    number: int
    first_tick: int | None
    last_tick: int | None
    ticks: int
    sha256: bytes
    rebuilt: int  # 1: from inputs that the device kept, by replay


@dataclass(frozen=True)
class Stretch:
    """Blocks that lie packed in one row: some minute of a run (stretches.py)."""

    first_block: int
    last_block: int
    first_tick: int
    last_tick: int
    ticks: int
    sha256: bytes  # of its last block
    packed: bytes
    packed_crc32: int  # a stray bit must be seen even where it decodes to the same


Row = TypeVar("Row", RunSummary, StoredRun, RunEvent, Note, Snapshot, Block, Stretch)


def made(kind: type[Row], row: sqlite3.Row) -> Row:
    """Build a row of the store; ValueError names a column that holds what no run has there."""
    values: dict[str, Any] = dict(row)
    if isinstance(values.get("head_sha256"), bytes):
        values["head_sha256"] = values["head_sha256"].hex()
    if values.get("simulated") in (0, 1):
        values["simulated"] = bool(values["simulated"])
    for column in fields(kind):
        if not isinstance(values.get(column.name, ...), column.type):  # type: ignore[arg-type]
            raise ValueError(f"its {column.name} is missing or of the wrong kind")
    return kind(**{column.name: values[column.name] for column in fields(kind)})


def storable(value: object) -> Stored:
    """Return `value` as SQLite will give it back: flags as integers, text as valid UTF-8."""
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode("utf-8")
    assert value is None or isinstance(value, int | bytes)
    return value
