"""The machine's memory as SNAPSHOT messages: where a replay may begin, after a gap and elsewhere.

`take` packs a snapshot of now at once; its parts follow at the link's own pace. Each part names the
tick after which it was taken, its number and how many there are. Allocates a few bytes.
"""

import struct

from emberbed_fw.snapshot import numbers_of
from emberbed_fw.tick_pack import put_signed

SNAPSHOT_TICKS = 3000
PART = "<IBB"  # tick, number of this part, parts in all
PART_BYTES = 200
MOST_PARTS = 9  # a machine has some 330 numbers, most of one byte or two
MOST_NUMBER_BYTES = 5
_HEAD_BYTES = struct.calcsize(PART)


class SnapshotParts:
    def __init__(self):
        self._octets = bytearray(MOST_PARTS * PART_BYTES)
        self._length = 0
        self._tick = 0
        self._sent = 0  # parts of it

    def take(self, machine):
        """Pack the machine as it is now, after its tick; nothing is sent if it does not fit."""
        at = 0
        for number in numbers_of(machine):
            if at + MOST_NUMBER_BYTES > len(self._octets):
                self._length = 0
                return
            at = put_signed(self._octets, at, number)
        self._tick = machine.tick
        self._length = at
        self._sent = 0

    def next_into(self, out, at):
        """Put the next part at `out[at:]`; return its length, 0 when all are sent."""
        begins = self._sent * PART_BYTES
        if begins >= self._length:
            return 0
        count = min(PART_BYTES, self._length - begins)
        parts = (self._length + PART_BYTES - 1) // PART_BYTES
        struct.pack_into(PART, out, at, self._tick, self._sent, parts)
        at += _HEAD_BYTES
        out[at : at + count] = memoryview(self._octets)[begins : begins + count]
        self._sent += 1
        return _HEAD_BYTES + count
