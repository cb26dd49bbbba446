"""Play a tape of recorded ticks through the firmware; runs in any interpreter.

A tape: H length + settings, H length + plan, H length + trips before the run (nothing for a device
just switched on), then H length + record for each tick. The heap is locked from sample to drive
where the interpreter can do that. Prints one line.
"""

import struct
import sys
from binascii import crc32

from emberbed_fw.replay import Replay, field_at


def read_block(tape):
    head = tape.read(2)
    return tape.read(struct.unpack("<H", head)[0]) if len(head) == 2 else b""


def heap_locks():
    try:
        import micropython
    except ImportError:
        return None
    return micropython.heap_lock, micropython.heap_unlock


def play(path):
    with open(path, "rb") as tape:
        settings = read_block(tape)
        plan = read_block(tape)
        replay = Replay(settings, plan, read_block(tape) or None)
        around = heap_locks()
        ticks = 0
        crc = 0
        while True:
            packed = read_block(tape)
            if not packed:
                break
            differs = replay.feed(packed, len(packed), around)
            if differs >= 0:
                print("tick", replay.machine.tick, "differs in", field_at(differs))
                return
            crc = crc32(bytes(memoryview(replay.out)[: replay.length]), crc)
            ticks += 1
    locked = "locked" if around else "free"
    print("equal ticks=%d crc=%08x heap=%s" % (ticks, crc, locked))


arguments = getattr(sys, "argv", [])
play(arguments[1] if len(arguments) > 1 else "/tape.bin")
