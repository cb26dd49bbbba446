"""Payloads of FEEDFORWARD, laid out apart from the host's own builder."""

import struct
from zlib import crc32

POWERS = 24  # in a part
PART = 2 + 2 * POWERS


def part(number, powers):
    """Return one part; `number` of its first power."""
    return (struct.pack("<H", number) + struct.pack(f"<{len(powers)}H", *powers)).ljust(PART, b"\0")


def end(plan, powers, crc=None, count=None):
    """Return what closes a set."""
    octets = struct.pack(f"<{len(powers)}H", *powers)
    crc = crc32(plan[-4:] + octets) if crc is None else crc
    said = (0xFFFF, len(powers) if count is None else count, crc & 0xFFFF, crc >> 16)
    return struct.pack("<HHHH", *said).ljust(PART, b"\0")


def parts_of(plan, powers):
    """Return all payloads of a set, in order."""
    parts = [part(at, powers[at : at + POWERS]) for at in range(0, len(powers), POWERS)]
    return [*parts, end(plan, powers)]
