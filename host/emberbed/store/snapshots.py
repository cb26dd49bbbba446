"""The bytes of a device's snapshot in the store: its integers in their order, four bytes each."""

import struct
from collections.abc import Sequence

NUMBER = struct.Struct("<i")


def pack_numbers(numbers: Sequence[int]) -> bytes:
    """Return the integers of a snapshot as bytes; ValueError for one that no device has."""
    try:
        return struct.pack(f"<{len(numbers)}i", *numbers)
    except struct.error as error:
        raise ValueError(f"a snapshot holds integers of 32 bits: {error}") from None


def unpack_numbers(octets: bytes) -> list[int]:
    """Return the integers again; ValueError when the bytes are not whole."""
    if len(octets) % NUMBER.size:
        raise ValueError("a snapshot is cut short")
    return [number for (number,) in NUMBER.iter_unpack(octets)]
