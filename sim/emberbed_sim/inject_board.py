"""A board without pins, inside the interpreter: what ports/inject asks of one, on two pipes.

Runs in MicroPython and CPython. The other end (`injection_device`) sends, first: H length,
settings block, I nonce, 8 bytes build id, 8 bytes board number, B why it starts (RESET_*); then
pieces of the wire, each H length and bytes. This end sends pieces: B what (WIRE, FED or KEPT), H
length, bytes. Whoever is at the other end is the watchdog, and a reset is the end of this process.
"""

import select
import struct
import sys
import time

WIRE = 1
FED = 2
KEPT = 3
CLOCK_MASK = 0x3FFFFFFF
PIECE = "<BH"


class PipedBoard:
    """The board; an empty read ends the process."""

    def __init__(self, source, sink):
        self._source = source
        self._sink = sink
        self._poll = select.poll()
        self._poll.register(source, select.POLLIN)
        self._waiting = b""
        self._settings = self._exactly(struct.unpack("<H", self._exactly(2))[0])
        self._nonce = struct.unpack("<I", self._exactly(4))[0]
        self._build_id = self._exactly(8)
        self._number = self._exactly(8)
        self._cause = self._exactly(1)[0]

    def _exactly(self, count):
        octets = b""
        while len(octets) < count:
            more = self._source.read(count - len(octets))
            if not more:
                raise SystemExit
            octets += more
        return octets

    def read(self, buffer):
        if not self._waiting and self._poll.poll(0):
            self._waiting = self._exactly(struct.unpack("<H", self._exactly(2))[0])
        count = min(len(buffer), len(self._waiting))
        buffer[:count] = self._waiting[:count]
        self._waiting = self._waiting[count:]
        return count

    def write(self, octets):
        self._say(WIRE, octets)

    def _say(self, what, octets):
        self._sink.write(struct.pack(PIECE, what, len(octets)) + bytes(octets))

    def rest(self, milliseconds):
        self._poll.poll(milliseconds)

    def clock_ms(self):
        if hasattr(time, "ticks_ms"):
            return getattr(time, "ticks_ms")() & CLOCK_MASK  # noqa: B009  (CPython has none)
        return time.monotonic_ns() // 1000000 & CLOCK_MASK

    def feed(self):
        self._say(FED, b"")

    def keep(self, code):
        self._say(KEPT, bytes([code]))

    def reset(self):
        raise SystemExit

    def board_number(self):
        return self._number

    def settings_block(self):
        return self._settings

    def read_slot(self, slot):
        return b""

    def kept(self):
        return 0

    def reset_cause(self):
        return self._cause

    def nonce(self):
        return self._nonce

    def build_id(self):
        return self._build_id


def serve():
    """Run the firmware on this process's standard input and output, unbuffered."""
    from emberbed_fw.ports.inject import serve as serve_injected

    source, sink = sys.stdin.buffer, sys.stdout.buffer
    serve_injected(PipedBoard(getattr(source, "raw", source), getattr(sink, "raw", sink)))


if __name__ == "__main__":
    serve()
