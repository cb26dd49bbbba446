"""The hash chain that makes a stored run tamper-evident (not tamper-proof).

h0 = SHA-256(canonical(header)); per commit block h = SHA-256(h_before || for each record its length
as 4 bytes, little-endian, and its bytes); at the end of a run one closing block over verdict and
events. It shows every later change, deletion, swap or cut inside the file; it cannot show a whole
run rewritten with a new chain, unless the head was kept elsewhere (it is printed on the run page).
"""

import struct
from collections.abc import Iterable
from hashlib import sha256

HEADER_COLUMNS = (
    "started_utc",
    "profile_name",
    "profile_toml",
    "plan",
    "settings",
    "session",
    "device",
    "engine",
    "firmware_version",
    "firmware_digest",
    "host_version",
    "seed",
    "speed",
    "simulated",
)
CLOSING_COLUMNS = ("state", "exit_code", "ended_utc", "trip", "limits_exceeded")
EVENT_COLUMNS = ("number", "tick", "kind", "sentence")

Stored = int | str | bytes | None


def _prefixed(octets: bytes) -> bytes:
    return struct.pack("<I", len(octets)) + octets


def canonical(values: Iterable[Stored]) -> bytes:
    """Return the one byte form of a row: per value a type letter, a length and the content."""
    parts = []
    for value in values:
        if value is None:
            parts.append(b"n" + _prefixed(b""))
        elif isinstance(value, bytes):
            parts.append(b"b" + _prefixed(value))
        elif isinstance(value, str):
            parts.append(b"t" + _prefixed(value.encode("utf-8")))
        elif isinstance(value, int):
            parts.append(b"i" + _prefixed(b"%d" % value))
        else:  # no value of ours is a fraction: one was put there, and must not hash as its integer
            parts.append(b"f" + _prefixed(repr(value).encode()))
    return b"".join(parts)


def header_hash(header: Iterable[Stored]) -> bytes:
    """Return h0 of a run from its HEADER_COLUMNS, in that order."""
    return sha256(canonical(header)).digest()


def block_hash(before: bytes, records: Iterable[bytes]) -> bytes:
    """Return the hash of one commit block, its records in tick order."""
    digest = sha256(before)
    for record in records:
        digest.update(_prefixed(record))
    return digest.digest()


def closing_hash(
    before: bytes, closing: Iterable[Stored], events: Iterable[Iterable[Stored]]
) -> bytes:
    """Return the head of an ended run: its CLOSING_COLUMNS and events put under the chain."""
    rows = [canonical(closing), *(canonical(event) for event in events)]
    return block_hash(before, rows)
