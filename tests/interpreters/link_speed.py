"""How fast the firmware's side of the link is in this interpreter; prints one line.

A tape as the player reads it (its records are framed, read again and packed into the memory).
Microseconds a record, and the bytes that the heap has grown by a record (None where it is unknown).
"""

import gc
import struct
import sys
import time

from emberbed_fw import frames
from emberbed_fw.recorder import Recorder

MOST_RECORDS = 400
BLOCK, RECORD = "<BH", 4  # as in the player


def read_block(tape):
    """Return kind and content of the next block."""
    head = tape.read(struct.calcsize(BLOCK))
    if len(head) < struct.calcsize(BLOCK):
        return 0, b""
    kind, length = struct.unpack(BLOCK, head)
    return kind, tape.read(length)


def now_us():
    if hasattr(time, "ticks_us"):
        return time.ticks_us()
    return time.perf_counter_ns() // 1000


def measured(step, records):
    """Return (us, heap bytes) a record of a step that takes a record."""
    gc.collect()
    knows_heap = hasattr(gc, "mem_alloc")
    heap = gc.mem_alloc() if knows_heap else 0
    gc.disable()
    began_us = now_us()
    for one in records:
        step(one)
    took_us = now_us() - began_us
    grown = gc.mem_alloc() - heap if knows_heap else 0
    gc.enable()
    return took_us / len(records), grown // len(records) if knows_heap else None


body = bytearray(frames.MAX_BODY)
frame = bytearray(frames.MAX_FRAME)
reader = frames.FrameReader()
recorder = Recorder()


def write(packed):
    for index in range(len(packed)):
        body[frames.HEADER_BYTES + index] = packed[index]
    length = frames.HEADER_BYTES + len(packed)
    struct.pack_into(frames.HEADER, body, 0, 1, 66, len(packed), 7, 1, 99)
    return frames.encode_frame(body, length, frame)


def read(packed):
    for index in range(written[len(packed)]):
        reader.feed(frame[index])


def keep(packed):
    tick = packed[0] | packed[1] << 8 | packed[2] << 16
    for ring in (recorder.fine, recorder.second, recorder.run):
        ring.take(tick, packed, len(packed))


arguments = getattr(sys, "argv", [])
with open(arguments[1] if len(arguments) > 1 else "/tape.bin", "rb") as tape:
    records = []
    while len(records) < MOST_RECORDS:
        kind, packed = read_block(tape)
        if kind == 0:
            break
        if kind == RECORD:
            records.append(packed)
written = {}
for packed in records:
    written[len(packed)] = write(packed)
same = [records[-1]] * 500
write(same[0])
print(
    "write %.1f %s read %.1f %s keep %.1f %s"
    % (measured(write, records) + measured(read, same) + measured(keep, records))
)
