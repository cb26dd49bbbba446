"""Records made by hand: what a packer or a ring of the device's memory is fed with."""

import struct

from emberbed_fw import record


def packed_record(tick, **fields):
    """Return record bytes with these fields, all others 0; commands come after them."""
    commands = fields.pop("commands", b"")
    known = {"tick": tick, "elapsed_ms": 100, "words": bytes(32), **fields}
    values = [known.get(name, 0) for name, _code in record.FIELDS]
    return struct.pack(record.FIXED, *values) + commands
