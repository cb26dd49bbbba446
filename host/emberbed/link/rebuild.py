"""Have the device's outputs again for a time in which nobody listened, by replay of its inputs.

Follows a run's records from its arming, or from a snapshot, and keeps them until the next snapshot:
from there the firmware, run here, comes to where the gap begins, and then through it with the
inputs that the device kept. What comes out must have the device's own check over those records;
otherwise, or without a place to begin, only the measured values of the gap are given.
"""

import struct
from collections import deque

from emberbed.link.events import MEASURED, REBUILT, Record
from emberbed.link.frames import crc32
from emberbed.link.measured import MeasuredRecords
from emberbed.link.packed import PackedBlock, PackedTick
from emberbed_fw import record as layout
from emberbed_fw.block_ring import MOST_ENTRIES
from emberbed_fw.replay import INPUTS, Heard, Replay, arms
from emberbed_fw.snapshot import restore_snapshot

MOST_KEPT = 36000  # records, an hour; snapshots come every 5 minutes
MOST_SNAPSHOTS = 4  # that wait for the record of their tick


class Rebuilder:
    """One run after the other of one device with these settings and this plan."""

    def __init__(self, settings: bytes, plan: bytes) -> None:
        self._settings = settings
        self._plan = plan
        self._measured = MeasuredRecords(settings)
        self.trip_counts: bytes | None = None  # what ARM answered
        self._newest: tuple[int, bytes] | None = None  # tick and record
        self._newest_is_measured = False
        self._recent: deque[tuple[int, bytes]] = deque(maxlen=MOST_ENTRIES)
        self._begins_at: tuple[int, list[int]] | None = None  # a snapshot: tick, numbers
        self._based = False  # `_since` begins at an arming, or after `_begins_at`
        self._since: list[bytes] = []
        self._waiting: dict[int, list[int]] = {}  # snapshots of ticks still to come
        self._replay: tuple[int, Replay] | None = None  # at the end of this tick
        self._heard = Heard()

    def note(self, raw: bytes, tick: int, origin: int) -> None:
        """Follow the next record, wherever it came from."""
        follows = self._newest is not None and tick == self._newest[0] + 1
        if not follows or origin == MEASURED:
            self._lose_place()
        self._newest = (tick, raw)
        self._newest_is_measured = origin == MEASURED
        self._recent.append(self._newest)
        self._heard.note(raw, len(raw))
        if arms(raw, len(raw)):
            self._based, self._begins_at, self._since = True, None, []
        if self._based:
            self._since.append(raw)
            if len(self._since) > MOST_KEPT:
                self._lose_place()  # no snapshot comes: do not fill the memory with a long run
        if tick in self._waiting:
            self._begin_after(tick, self._waiting.pop(tick))

    def note_snapshot(self, tick: int, numbers: list[int]) -> None:
        """Take a snapshot that the device made after this tick."""
        if self._newest is not None and tick == self._newest[0]:
            self._begin_after(tick, numbers)
        elif self._newest is None or tick > self._newest[0]:
            while len(self._waiting) >= MOST_SNAPSHOTS:
                self._waiting.pop(min(self._waiting))
            self._waiting[tick] = numbers

    def records_of(self, block: PackedBlock, first: int, last: int) -> list[Record]:
        """Return the block's records from tick to tick: REBUILT, or MEASURED where it must be."""
        wanted = [one for one in block.ticks if first <= one.tick <= last]
        rebuilt = self._rebuilt(block, wanted) if block.step == 1 else None
        if rebuilt is not None:
            return [
                Record(raw, one.tick, True, REBUILT)
                for one, raw in zip(wanted, rebuilt, strict=True)
            ]
        records = []
        before = None if self._newest is None else self._newest[1]
        if block.step == 1 and self._follows(wanted):
            wanted = wanted[1:]  # from a missing tick on nothing is taken for proven
        for one in wanted:
            before = self._measured.record_of(one, before)
            records.append(Record(before, one.tick, True, MEASURED))
        return records

    def _lose_place(self) -> None:
        self._based, self._begins_at, self._since, self._replay = False, None, [], None
        self._recent.clear()

    def _begin_after(self, tick: int, numbers: list[int]) -> None:
        self._based, self._begins_at, self._since = True, (tick, numbers), []

    def _rebuilt(self, block: PackedBlock, wanted: list[PackedTick]) -> list[bytes] | None:
        """Return the records of the wanted ticks, None if they cannot be proved."""
        if not self._based or not self._follows(wanted):
            return None
        replay = self._here()
        if replay is None:
            return None
        records = [_play(replay, one) for one in wanted]
        self._replay = (wanted[-1].tick, replay)
        before = [raw for tick, raw in self._recent if tick >= block.first_tick]
        if _check(before + records) == block.check:
            return records
        self._lose_place()
        return None

    def _follows(self, wanted: list[PackedTick]) -> bool:
        """Tell whether these ticks come right after a record of the device, or one like it."""
        if self._newest is None or self._newest_is_measured or not wanted:
            return False
        return wanted[0].tick == self._newest[0] + 1

    def _here(self) -> Replay | None:
        """Return the firmware at the end of the newest tick."""
        assert self._newest is not None
        if self._replay is not None and self._replay[0] == self._newest[0]:
            return self._replay[1]
        replay = Replay(self._settings, self._plan, self.trip_counts)
        if self._begins_at is not None:
            try:
                restore_snapshot(replay.machine, self._begins_at[1])
                replay.begin_here(self._heard.until(self._begins_at[0]))
            except ValueError:
                return None
        for raw in self._since:
            if replay.feed(raw, len(raw)) >= 0:
                return None  # it was not replayed before the gap either
        return replay


def _play(replay: Replay, inputs: PackedTick) -> bytes:
    """Take the firmware through one tick; return the record that it makes."""
    read = struct.pack(INPUTS, *(getattr(inputs, name) for name, _code in layout.INPUT_FIELDS))
    packed = read.ljust(layout.FIXED_BYTES, b"\0") + inputs.commands
    replay.feed(packed, len(packed))
    return bytes(replay.out[: replay.length])


def _check(records: list[bytes]) -> int:
    crc = 0
    for raw in records:
        crc = crc32(raw, crc)
    return crc
