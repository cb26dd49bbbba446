"""Show that the heap lock of the player really locks: two functions that allocate run under it.

Same tape, same Replay, same pair of lock functions; only the tick is replaced. Prints one line.
"""

import sys

import micropython

from emberbed_fw.replay import Replay


def read_block(tape):
    _kind, low, high = tape.read(3)
    return tape.read(low | high << 8)


def makes_bytes():
    return bytearray(64)


def makes_a_big_int(factor=40000):
    return factor * factor  # 2**30 and more: boxed where small ints have 31 bits


def under_lock(replay, packed, function):
    replay.machine.sample_to_drive = function
    try:
        replay.feed(packed, len(packed), (micropython.heap_lock, micropython.heap_unlock))
    except MemoryError:
        micropython.heap_unlock()
        return "MemoryError"
    return "fine"


def nothing():
    pass


arguments = getattr(sys, "argv", [])
with open(arguments[1] if len(arguments) > 1 else "/tape.bin", "rb") as tape:
    settings = read_block(tape)
    plan = read_block(tape)
    replay = Replay(settings, plan, read_block(tape) or None)
    packed = read_block(tape)
print(
    "nothing=%s bytes=%s big_int=%s maxsize=%d"
    % (
        under_lock(replay, packed, nothing),
        under_lock(replay, packed, makes_bytes),
        under_lock(replay, packed, makes_a_big_int),
        sys.maxsize,
    )
)
