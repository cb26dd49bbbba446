"""Play the tape of a run through the firmware; a script that runs in any interpreter.

A tape is blocks, each with a kind and its length before it (BLOCK): SETTINGS, PLAN and TRIPS (what
ARM answered, empty for a device just switched on) once, then RECORD for each tick, and SNAPSHOT (I
tick, then its numbers as i) before the record of the tick after it. The heap is locked from sample
to drive where the interpreter can do that. Prints a line for each span of ticks:

equal FIRST LAST TICKS CRC             every byte of every record came out again
differs TICK FIELD RECORDED REPLAYED   the first difference; hexadecimal where it is no number
failed TICK WHY                        the firmware raised an exception
unproven FIRST LAST WHY                nothing to begin from: arming, gap or difference
end HEAP                               locked or free; without this line the player was broken off
"""

import struct
import sys
from binascii import crc32, hexlify

from emberbed_fw.record import FIELDS, FIXED_BYTES
from emberbed_fw.replay import Heard, Replay, arms, field_at
from emberbed_fw.snapshot import restore_snapshot

BLOCK = "<BH"
SETTINGS, PLAN, TRIPS, RECORD, SNAPSHOT = 1, 2, 3, 4, 5
TICK = "<I"


def read_block(tape):
    """Return kind and content of the next block, (0, b"") at the end."""
    head = tape.read(struct.calcsize(BLOCK))
    if len(head) < struct.calcsize(BLOCK):
        return 0, b""
    kind, length = struct.unpack(BLOCK, head)
    return kind, tape.read(length)


def say(*words):
    sys.stdout.write(" ".join([str(word) for word in words]) + "\n")


class Heap:
    """The interpreter's heap: locked from sample to drive, where that can be done."""

    def __init__(self):
        self.locked = False
        self.lock_it = self.unlock_it = None
        try:
            interpreter = __import__("micropython")
        except ImportError:
            return
        self.lock_it = interpreter.heap_lock
        self.unlock_it = interpreter.heap_unlock

    def lock(self):
        self.locked = True
        if self.lock_it:
            self.lock_it()

    def unlock(self):
        if self.locked and self.unlock_it:
            self.unlock_it()
        self.locked = False

    def around(self):
        """Return what Replay.feed calls before and after, None where no heap can be locked."""
        return (self.lock, self.unlock) if self.lock_it else None


def value_at(packed, field):
    """Return what a record has in a field, as one word."""
    at = 0
    for name, code in FIELDS:
        if name == field:
            value = struct.unpack_from("<" + code, packed, at)[0]
            return value if isinstance(value, int) else hexlify(value).decode()
        at += struct.calcsize("<" + code)
    return hexlify(packed[FIXED_BYTES:]).decode() or "none"


class Player:
    """Takes the blocks of one tape; `replay` is None while nothing can be proven."""

    def __init__(self, heap):
        self.heap = heap
        self.around = heap.around()
        self.blocks = {SETTINGS: b"", PLAN: b"", TRIPS: b""}
        self.snapshot_tick = -1
        self.snapshot = b""
        self.heard = Heard()
        self.replay = None
        self.why = "arming"
        self.first = -1
        self.last = -1
        self.crc = 0

    def take(self, kind, block):
        if kind == RECORD:
            self.take_record(block)
        elif kind == SNAPSHOT:
            self.snapshot_tick = struct.unpack_from(TICK, block)[0]
            self.snapshot = block[struct.calcsize(TICK) :]
        else:
            self.blocks[kind] = block

    def take_record(self, packed):
        tick = struct.unpack_from(TICK, packed)[0]
        if self.last >= 0 and tick != self.last + 1:
            self.end_span("gap")
        if self.replay is None:
            self.try_to_begin(tick, packed)
        self.heard.note(packed, len(packed))
        if self.first < 0:
            self.first = tick
            self.crc = 0
        self.last = tick
        if self.replay is not None:
            self.feed(self.replay, tick, packed)

    def try_to_begin(self, tick, packed):
        from_snapshot = self.snapshot_tick == tick - 1
        if not from_snapshot and not arms(packed, len(packed)):
            return
        replay = Replay(self.blocks[SETTINGS], self.blocks[PLAN], self.blocks[TRIPS] or None)
        if from_snapshot:
            count = len(self.snapshot) // 4
            restore_snapshot(replay.machine, struct.unpack("<%di" % count, self.snapshot))  # noqa: UP031
            try:
                replay.begin_here(self.heard.until(tick - 1))
            except ValueError:
                return  # the feedforward in use came in a gap
        if self.first >= 0:
            self.end_span(self.why)
        self.replay = replay

    def feed(self, replay, tick, packed):
        try:
            differs = replay.feed(packed, len(packed), self.around)
        except Exception as error:  # whatever the firmware does is a finding
            self.heap.unlock()
            self.lose(tick, ("failed", tick, type(error).__name__))
            return
        out = bytes(memoryview(replay.out)[: replay.length])
        if differs >= 0:
            field = field_at(differs)
            told = ("differs", tick, field, value_at(packed, field), value_at(out, field))
            self.lose(tick, told)
            return
        self.crc = crc32(out, self.crc)

    def lose(self, tick, told):
        """What was proven ends before this tick; the tick itself is the first that is not."""
        self.last = tick - 1
        self.end_span("difference")
        say(*told)
        self.first = self.last = tick

    def end_span(self, why):
        """Tell of the span so far; `why` the next one may not be proven."""
        if self.first >= 0 and self.last >= self.first:
            if self.replay is None:
                say("unproven", self.first, self.last, self.why)
            else:
                say("equal", self.first, self.last, self.last + 1 - self.first, self.crc)
        self.why = why
        self.replay = None
        self.first = -1


def play(path):
    heap = Heap()
    player = Player(heap)
    with open(path, "rb") as tape:
        kind, block = read_block(tape)
        while kind:
            player.take(kind, block)
            kind, block = read_block(tape)
    player.end_span("")
    say("end", "locked" if heap.lock_it else "free")


if __name__ == "__main__":
    arguments = getattr(sys, "argv", [])
    play(arguments[1] if len(arguments) > 1 else "/tape.bin")
