"""Pack the commit blocks of a stretch of a run into a few bytes, and give back the same bytes.

Records are alike, so they are laid in columns of bytes (the first byte of each, the second ..) and
compressed; what a record has beyond the shortest one (its commands) follows. Knows nothing of a
record's layout. Form, little-endian, under zlib: H blocks, for each block a byte (its records, and
REBUILT), H width, for each record H bytes beyond the width, the columns, the rest of each record.
"""

import struct
import zlib
from collections.abc import Sequence
from typing import NamedTuple

STRETCH_TICKS = 600  # a minute: what is lost together when a disk spoils a byte
MOST_BLOCKS = 2 * STRETCH_TICKS
MOST_BYTES = 1 << 20  # of a stretch unpacked: nobody's file may fill the memory
REBUILT = 0x80
_LEVEL = 6
_NUMBER = struct.Struct("<H")


class PackedBlock(NamedTuple):
    """The records of one commit, in tick order; `rebuilt`: from inputs that the device kept."""

    rebuilt: bool
    records: tuple[bytes, ...]


def pack(blocks: Sequence[PackedBlock]) -> bytes:
    """Return the blocks packed."""
    records = [octets for block in blocks for octets in block.records]
    width = min(map(len, records))
    fixed = b"".join(octets[:width] for octets in records)
    heads = bytes(len(block.records) | REBUILT * block.rebuilt for block in blocks)
    parts = [
        _NUMBER.pack(len(blocks)) + heads + _NUMBER.pack(width),
        struct.pack(f"<{len(records)}H", *(len(octets) - width for octets in records)),
        *(fixed[column::width] for column in range(width)),
        *(octets[width:] for octets in records),
    ]
    return zlib.compress(b"".join(parts), _LEVEL)


def unpack(packed: bytes) -> list[PackedBlock]:
    """Return the blocks again; ValueError when these bytes are not, or no more, packed blocks."""
    try:
        return _blocks(_decompressed(packed))
    except (zlib.error, struct.error, IndexError, TypeError) as error:
        raise ValueError(f"a packed stretch is damaged ({error})") from None


def _decompressed(packed: bytes) -> bytes:
    stream = zlib.decompressobj()
    plain = stream.decompress(packed, MOST_BYTES)
    if not stream.eof or stream.unused_data:
        raise ValueError("a packed stretch is cut short, or larger than one can be")
    return plain


def _blocks(plain: bytes) -> list[PackedBlock]:
    (count,) = _NUMBER.unpack_from(plain)
    at = _NUMBER.size + count
    heads = plain[_NUMBER.size : at]
    (width,) = _NUMBER.unpack_from(plain, at)
    records = sum(head & ~REBUILT for head in heads)
    at += _NUMBER.size
    beyond = struct.unpack_from(f"<{records}H", plain, at)
    at += _NUMBER.size * records
    rest = at + width * records
    if len(heads) != count or not records or len(plain) != rest + sum(beyond):
        raise ValueError("a packed stretch does not hold what it says")
    octets = []
    for number, more in enumerate(beyond):
        octets.append(
            plain[at + number : at + width * records : records] + plain[rest : rest + more]
        )
        rest += more
    return _grouped(heads, octets)


def _grouped(heads: bytes, records: list[bytes]) -> list[PackedBlock]:
    blocks, at = [], 0
    for head in heads:
        count = head & ~REBUILT
        blocks.append(PackedBlock(bool(head & REBUILT), tuple(records[at : at + count])))
        at += count
    return blocks
