"""Payloads that carry a block of bytes (plan, settings, feedforward) to or from the device.

Writing: the pieces in order, each with its offset, then the closing payload with length and CRC.
Reading: offset and count of each piece. Every payload may be sent twice without harm.
"""

import struct
from collections.abc import Iterator, Sequence

from emberbed.link.frames import crc32
from emberbed_fw import messages

CRC_BYTES = 4


def block_crc(block: bytes) -> int:
    """Return the CRC-32 that a block carries in its last four bytes, by which it is named."""
    if len(block) <= CRC_BYTES:
        raise ValueError(
            f"a block ends with {CRC_BYTES} bytes of CRC, this has {len(block)} in all"
        )
    return int.from_bytes(block[-CRC_BYTES:], "little")


def crc_halves(crc: int) -> tuple[int, int]:
    """Return the low and high 16 bits: the device keeps no integer above 30 bits."""
    return crc & 0xFFFF, crc >> 16


def write_payloads(block: bytes) -> Iterator[bytes]:
    """Yield the payloads of PLAN_WRITE or SETTINGS_WRITE, the closing one last."""
    for offset in range(0, len(block), messages.BLOCK_CHUNK):
        yield struct.pack("<H", offset) + block[offset : offset + messages.BLOCK_CHUNK]
    halves = crc_halves(block_crc(block))
    yield struct.pack("<HHHH", messages.END_OF_BLOCK, len(block), *halves)


def feedforward_payloads(plan: bytes, powers_q15: Sequence[int]) -> Iterator[bytes]:
    """Yield the payloads of FEEDFORWARD for a run of this plan, the closing one last: the powers at
    all knots, zone after zone of those in use."""
    size = 2 + 2 * messages.FEEDFORWARD_POWERS
    octets = struct.pack(f"<{len(powers_q15)}H", *powers_q15)
    for at in range(0, len(octets), size - 2):
        yield (struct.pack("<H", at // 2) + octets[at : at + size - 2]).ljust(size, b"\0")
    halves = crc_halves(crc32(plan[-CRC_BYTES:] + octets))
    closing = struct.pack("<HHHH", messages.END_OF_BLOCK, len(powers_q15), *halves)
    yield closing.ljust(size, b"\0")


def read_payloads(length: int) -> Iterator[tuple[bytes, int]]:
    """Yield (payload of PLAN_READ or SETTINGS_READ, bytes it asks for) for `length` bytes."""
    for offset in range(0, length, messages.BLOCK_CHUNK):
        count = min(messages.BLOCK_CHUNK, length - offset)
        yield struct.pack("<HB", offset, count), count
