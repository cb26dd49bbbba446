"""Unpack what a device kept of a time in which nobody listened: blocks of packed ticks.

The layout is the firmware's (`emberbed_fw.block_ring`, `emberbed_fw.tick_pack`); the reading is
written here again, apart from the writing. ValueError for bytes that are no whole block.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from emberbed_fw import messages
from emberbed_fw import tick_pack as layout
from emberbed_fw.block_ring import FORM_PACKED, HEAD, HEAD_BYTES
from emberbed_fw.units import CHANNELS, TICK_MS, WORD_BYTES

_HEAD = struct.Struct(HEAD)
_HALF = 0x10000


@dataclass(frozen=True, slots=True)
class Outputs:
    """What a thinned entry tells of what the device did."""

    state: int
    verdict: int
    stage: int
    trip: int
    demand0_q15: int
    setpoint_cdeg: int
    energy_j: int


@dataclass(frozen=True, slots=True)
class PackedTick:
    """One tick: what it read, `words` as in the record; the commands it took, as bytes."""

    tick: int
    elapsed_ms: int
    port_flags: int
    fresh_channels: int
    words: bytes
    commands: bytes
    outputs: Outputs | None


@dataclass(frozen=True, slots=True)
class PackedBlock:
    """Ticks in order, `step` apart; `check`: the CRC-32 over the records of every tick."""

    step: int
    check: int
    ticks: tuple[PackedTick, ...]

    @property
    def first_tick(self) -> int:
        return self.ticks[0].tick

    @property
    def last_tick(self) -> int:
        return self.ticks[-1].tick


def unpack(payload: bytes) -> PackedBlock:
    """Return the block in the payload of a BACKFILL_BLOCK."""
    if len(payload) < HEAD_BYTES:
        raise ValueError("a block of packed ticks is cut short")
    form, step, first, count, check = _HEAD.unpack_from(payload)
    if form != FORM_PACKED or not step or not count:
        raise ValueError("this is no block of packed ticks")
    reader = _Entries(payload[HEAD_BYTES:])
    try:
        ticks = tuple(reader.entries(first, step, count))
    except (IndexError, struct.error):
        raise ValueError("a block of packed ticks is cut short") from None
    if reader.at != len(reader.octets):
        raise ValueError("a block of packed ticks is too long")
    return PackedBlock(step, check, ticks)


class _Entries:
    """Reads entries one by one, each against the one before."""

    def __init__(self, octets: bytes) -> None:
        self.octets = octets
        self.at = 0
        self._flags = 0
        self._fresh = 0
        self._words = bytearray(CHANNELS * WORD_BYTES)
        self._status = (0, 0, 0, 0)
        self._setpoint = 0
        self._energy = 0

    def entries(self, first: int, step: int, count: int) -> Iterator[PackedTick]:
        for number in range(count):
            has = self._byte()
            elapsed_ms = self._elapsed() if has & layout.HAS_ELAPSED else TICK_MS
            if has & layout.HAS_FLAGS:
                self._flags = self._short()
            if has & layout.HAS_FRESH:
                self._fresh = self._byte()
            if has & layout.HAS_WORDS:
                self._change_words()
            outputs = self._outputs(has) if has & layout.HAS_OUTPUTS else None
            tick = first + number * step
            commands = self._commands(tick) if has & layout.HAS_COMMANDS else b""
            yield PackedTick(
                tick, elapsed_ms, self._flags, self._fresh,
                bytes(self._words), commands, outputs,
            )  # fmt: skip

    def _byte(self) -> int:
        self.at += 1
        return self.octets[self.at - 1]

    def _short(self) -> int:
        return self._byte() | self._byte() << 8

    def _take(self, count: int) -> bytes:
        if self.at + count > len(self.octets):
            raise IndexError
        self.at += count
        return self.octets[self.at - count : self.at]

    def _signed(self) -> int:
        octet = self._byte()
        negative, number, shift = octet & 1, octet >> 1 & 0x3F, 6
        while octet & 0x80:
            octet = self._byte()
            number |= (octet & 0x7F) << shift
            shift += 7
        return -number if negative else number

    def _elapsed(self) -> int:
        near = self._byte()
        return near - layout.ELAPSED_MIDDLE + TICK_MS if near else self._short()

    def _commands(self, tick: int) -> bytes:
        length = self._byte()
        if length & layout.ONE_RENEW:
            acknowledged = tick - (length & ~layout.ONE_RENEW)
            return struct.pack("<BBI", messages.RENEW, 4, acknowledged)
        return self._take(length)

    def _change_words(self) -> None:
        changed = self._byte()
        for channel in range(CHANNELS):
            if changed >> channel & 1:
                steps = self._byte()
                at = channel * WORD_BYTES
                self._change_half(at, steps >> 4, layout.HIGH_SHIFT)
                self._change_half(at + 2, steps & 15, layout.LOW_SHIFT)

    def _change_half(self, at: int, steps: int, shift: int) -> None:
        if steps == layout.FAR:
            self._words[at : at + 2] = self._take(2)
            return
        change = (steps - 16 if steps > layout.FAR else steps) << shift
        (before,) = struct.unpack_from(">H", self._words, at)
        struct.pack_into(">H", self._words, at, (before + change) % _HALF)

    def _outputs(self, has: int) -> Outputs:
        if has & layout.HAS_STATUS:
            self._status = (self._byte(), self._byte(), self._byte(), self._byte())
        demand = self._byte() << layout.DEMAND_SHIFT
        self._energy += self._signed()
        if has & layout.HAS_SETPOINT:
            self._setpoint += self._signed()
        return Outputs(*self._status, demand, self._setpoint, self._energy)


def read_numbers(octets: bytes) -> list[int]:
    """Return the numbers of a snapshot, written one after the other."""
    reader = _Entries(octets)
    numbers = []
    try:
        while reader.at < len(octets):
            numbers.append(reader._signed())
    except IndexError:
        raise ValueError("a snapshot is cut short") from None
    return numbers
