"""The hash chain that makes a stored run tamper-evident (not tamper-proof).

h0 = SHA-256(canonical(header)); per commit block h = SHA-256(h_before || for each record its length
as 4 bytes, little-endian, and its bytes), and a mark after records that were rebuilt; at the end of
a run one closing block over verdict, events and snapshots. Notes of later have a hash of their own,
under the header's. It shows every later change, deletion, swap or cut inside the file; it cannot
show a whole run rewritten with a new chain, unless the head was kept elsewhere (it is printed on
the run page).
Columns that came later than the first store are hashed with their names, and only where they hold
something: runs of before keep their hashes.
"""

import struct
from collections.abc import Iterable, Mapping
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
LATER_HEADER_COLUMNS = ("linked_to",)
CLOSING_COLUMNS = ("state", "exit_code", "ended_utc", "trip", "limits_exceeded")
LATER_CLOSING_COLUMNS = ("trip_counts", "closing_form")
# of runs closed in CLOSING_FORM, who wrote them and when too
WRITER_COLUMNS = ("last_stored_utc", "process_node", "process_id", "process_started")
CLOSING_FORM = 1
EVENT_COLUMNS = ("number", "tick", "kind", "sentence")
SNAPSHOT_COLUMNS = ("tick", "numbers")
NOTE_COLUMNS = ("number", "noted_utc", "sentence")
REBUILT = b"rebuilt"

Stored = int | str | bytes | None
Row = Mapping[str, Stored]


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


def header_hash(run: Row) -> bytes:
    """Return h0 of a run from its columns; of one from a bundle, as it was in its own store."""
    if run.get("bundled_linked_to") is not None:
        run = {**run, "linked_to": run["bundled_linked_to"]}
    return sha256(_of(run, HEADER_COLUMNS, LATER_HEADER_COLUMNS)).digest()


def _of(run: Row, columns: Iterable[str], later: Iterable[str]) -> bytes:
    there = [(name, run[name]) for name in later if run.get(name) is not None]
    named = [part for pair in there for part in pair]
    return canonical([*(run[name] for name in columns), *named])


def block_hash(before: bytes, records: Iterable[bytes], rebuilt: bool = False) -> bytes:
    """Return the hash of one commit block, its records in tick order."""
    digest = sha256(before)
    for record in records:
        digest.update(_prefixed(record))
    if rebuilt:
        digest.update(REBUILT)
    return digest.digest()


def closing_hash(
    before: bytes,
    run: Row,
    events: Iterable[Iterable[Stored]],
    snapshots: Iterable[Iterable[Stored]] = (),
) -> bytes:
    """Return the head of an ended run: closing columns, events and snapshots under the chain."""
    closing = _of(run, CLOSING_COLUMNS, LATER_CLOSING_COLUMNS)
    if run.get("closing_form") is not None:
        closing += canonical(run[name] for name in WRITER_COLUMNS)
    told = [canonical(event) for event in events]
    kept = [canonical(["snapshot", *snapshot]) for snapshot in snapshots]
    return block_hash(before, [closing, *told, *kept])


def later_hash(run: Row, notes: Iterable[Iterable[Stored]]) -> bytes | None:
    """Return the hash over what came to a run later, None for nothing: its notes in their order,
    and the numbers that it had in another store."""
    origin = [run.get("bundled_run"), run.get("bundled_linked_to")]
    told = [canonical(note) for note in notes]
    if not told and origin[0] is None:
        return None
    return block_hash(header_hash(run), [canonical(origin), *told])
