"""A ring of blocks of packed records, fixed in size: the device's memory of the last minutes.

Each block fits one frame and stands by itself: a head (HEAD below), then one entry for each tick,
or for each STEP-th, as tick_pack writes them. A block of every tick carries the CRC-32 over its
records' bytes, by which outputs that are had again by replay are checked. The oldest block is
overwritten. Runs after the outputs are set; `crc32` may allocate a few bytes.
"""

import struct
from binascii import crc32

from emberbed_fw.tick_pack import TickPacker

FORM_WHOLE = 0  # the first byte of a BACKFILL_BLOCK: one record
FORM_PACKED = 1  # a block of this ring
HEAD = "<BHIBI"  # form, ticks from entry to entry, first tick, entries, CRC-32 (0 when thinned)
HEAD_BYTES = struct.calcsize(HEAD)
BLOCK_BYTES = 216
CHUNK_BLOCKS = 8
MOST_ENTRIES = 100  # a check at least that often
_COUNT_AT = HEAD_BYTES - 5


class BlockRing:
    def __init__(self, blocks, step):
        self.step = step
        # neither one large piece, which a heap in use may not have, nor one object for each block
        self._chunks = [
            bytearray(min(blocks - first, CHUNK_BLOCKS) * BLOCK_BYTES)
            for first in range(0, blocks, CHUNK_BLOCKS)
        ]
        self._lengths = bytearray(blocks)
        self._first = [0] * blocks  # tick of the block's first entry
        self._newest = 0  # index of the block that is being filled
        self._used = 0  # blocks that hold something
        self._count = 0  # entries in the newest block
        self._crc = 0
        self._packer = TickPacker(step > 1)

    def take(self, tick, packed, length):
        """Keep a record (`length` bytes of `packed`) if its tick is one of this ring's."""
        if tick % self.step:
            return
        packer = self._packer
        follows = self._used and tick == self._first[self._newest] + self._count * self.step
        if not follows or self._count == MOST_ENTRIES:
            self._open_block(tick)
        packer.encode(packed, length)
        if self._lengths[self._newest] + packer.length > BLOCK_BYTES:
            self._open_block(tick)
            packer.encode(packed, length)
        self._append(packed, length)

    def oldest_tick(self):
        """Return the first tick that will still be kept after the next block, 0 for none."""
        if self._used == 0:
            return 0
        full = self._used == len(self._first)
        return self._first[(self._newest - self._used + (2 if full else 1)) % len(self._first)]

    def find(self, tick):
        """Return the index of the oldest block with an entry at `tick` or later, -1 for none."""
        count = len(self._first)
        for age in range(self._used - 1, -1, -1):
            index = (self._newest - age) % count
            if self.last_tick(index) >= tick:
                return index
        return -1

    def last_tick(self, index):
        """Return the tick of a block's last entry."""
        chunk = self._chunks[index // CHUNK_BLOCKS]
        entries = chunk[index % CHUNK_BLOCKS * BLOCK_BYTES + _COUNT_AT]
        return self._first[index] + (entries - 1) * self.step

    def copy_block(self, index, out, at):
        """Copy a block to `out[at:]`; return its length."""
        length = self._lengths[index]
        begins = index % CHUNK_BLOCKS * BLOCK_BYTES
        chunk = memoryview(self._chunks[index // CHUNK_BLOCKS])
        out[at : at + length] = chunk[begins : begins + length]
        return length

    def _open_block(self, tick):
        if self._used:
            self._newest = (self._newest + 1) % len(self._first)
        self._used = min(self._used + 1, len(self._first))
        self._first[self._newest] = tick
        self._lengths[self._newest] = HEAD_BYTES
        self._count = 0
        self._crc = 0
        self._packer.restart()

    def _append(self, packed, length):
        newest = self._newest
        chunk = self._chunks[newest // CHUNK_BLOCKS]
        begins = newest % CHUNK_BLOCKS * BLOCK_BYTES
        entry = self._packer.octets
        at = begins + self._lengths[newest]
        for index in range(self._packer.length):
            chunk[at + index] = entry[index]
        self._lengths[newest] += self._packer.length
        self._count += 1
        if self.step == 1:
            self._crc = crc32(memoryview(packed)[:length], self._crc)
        struct.pack_into(
            HEAD, chunk, begins, FORM_PACKED, self.step, self._first[newest], self._count, self._crc
        )
