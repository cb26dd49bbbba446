"""Pack a tape's records into the device's memory and read them back as a host asks for them.

A tape as the player reads it. Prints one line: frames sent again, and the CRC-32 over them; the
same in every interpreter.
"""

import struct
import sys
from binascii import crc32

from emberbed_fw.backfill import Backfill
from emberbed_fw.recorder import Recorder

BLOCK, RECORD = "<BH", 4  # as in the player


def keep(recorder, packed):
    tick = struct.unpack_from("<I", packed, 0)[0]
    recorder.newest_tick = tick
    recorder.slot(tick)[: len(packed)] = packed
    recorder._lengths[tick % len(recorder._lengths)] = len(packed)
    for ring in (recorder.fine, recorder.second, recorder.run):
        ring.take(tick, packed, len(packed))


arguments = getattr(sys, "argv", [])
recorder = Recorder()
with open(arguments[1] if len(arguments) > 1 else "/tape.bin", "rb") as tape:
    while True:
        head = tape.read(struct.calcsize(BLOCK))
        if len(head) < struct.calcsize(BLOCK):
            break
        kind, length = struct.unpack(BLOCK, head)
        block = tape.read(length)
        if kind == RECORD:
            keep(recorder, block)
backfill = Backfill(recorder)
out = bytearray(300)
frames = 0
crc = 0
for first in (1, recorder.newest_tick - 2000, recorder.newest_tick - 10):
    told = (backfill.ask(first), backfill.seconds_from(), backfill.fine_from())
    crc = crc32(struct.pack("<III", told[0], told[1], told[2]), crc)
    while True:
        length = backfill.next_into(out, 0)
        if length == 0:
            break
        crc = crc32(bytes(memoryview(out)[:length]), crc)
        frames += 1
print("frames=%d crc=%08x" % (frames, crc))
