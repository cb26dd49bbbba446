"""Device port on two pipes: the virtual device's end inside the interpreter.

The other end (the simulated heater's process) sends one message a turn and gets one answer:
  'S' H length, settings block, I nonce, 8 bytes build id     once, first
  'T' H elapsed_ms, H port_flags, B fresh, 32 words, H n, n wire bytes     one tick
  'L' H n, n wire bytes                                                    wire only
A restart builds the device anew inside the interpreter; of service nothing is left then, as its
tools have no way to this wire.
answer: B zones, B outputs, H owed, H n, n wire bytes. An empty read ends the device.
"""

import struct
import sys

from emberbed_fw.device_port import END, RESET_POWER, TICK, WIRE
from emberbed_fw.main_loop import start
from emberbed_fw.messages import BOARD_NUMBER_BYTES, ENTRY_HEATS

WIRE_BYTES = 4096
RESTART_STEP = 7907  # between numbers after restarts, apart from those after resets
MOST_NONCE = 1 << 30
TICK_HEAD = "<HHB"
ANSWER_HEAD = "<BBHH"


class PipePort:
    screen = None

    def __init__(self, source, sink):
        self._source = source
        self._sink = sink
        self.received = bytearray(WIRE_BYTES)
        self.count = 0
        self._tick_bytes = bytearray(5 + 32)
        self._zones = 0
        self._outputs = 0
        self._slots = [b"", b""]
        self._plan = b""
        self._wire = b""
        if self._read_exactly(1) != b"S":
            raise ValueError("the first message must describe the device")
        length = struct.unpack("<H", self._read_exactly(2))[0]
        self._settings = self._read_exactly(length)
        self._nonce = struct.unpack("<I", self._read_exactly(4))[0]
        self._restarts = 0
        self._build_id = self._read_exactly(8)

    def _read_exactly(self, count):
        octets = self._source.read(count)
        while octets and len(octets) < count:
            more = self._source.read(count - len(octets))
            if not more:
                return b""
            octets += more
        return octets or b""

    def settings_block(self):
        return self._settings

    def read_slot(self, slot):
        return self._slots[slot]

    def write_slot(self, slot, octets):
        self._slots[slot] = octets

    def read_plan(self):
        return self._plan

    def write_plan(self, octets):
        self._plan = bytes(octets)

    def nonce(self):
        return (self._nonce + RESTART_STEP * self._restarts) % MOST_NONCE

    def build_id(self):
        return self._build_id

    def identity(self):
        return ENTRY_HEATS, bytes(BOARD_NUMBER_BYTES)

    def wait(self):
        kind = self._read_exactly(1)
        self.count = 0
        if kind == b"T":
            self._tick_bytes[:] = self._read_exactly(5 + 32)
        elif kind != b"L":
            return END
        count = struct.unpack("<H", self._read_exactly(2))[0]
        if count:
            self.received[:count] = self._read_exactly(count)
            self.count = count
        return TICK if kind == b"T" else WIRE

    def sample(self, inputs):
        inputs.elapsed_ms, inputs.port_flags, inputs.fresh_channels = struct.unpack_from(
            TICK_HEAD, self._tick_bytes, 0
        )
        for index in range(32):
            inputs.words[index] = self._tick_bytes[5 + index]

    def drive(self, zones, outputs):
        self._zones = zones
        self._outputs = outputs

    def note_service(self):
        pass

    def confirm(self):
        pass

    def restart(self):
        self.all_off()
        self._restarts += 1

    def feed(self):
        """No watchdog of its own: the simulated bench sees an interpreter that stops answering."""

    def keep(self, code):
        """Nothing here outlives a reset, which is a new interpreter."""

    def kept(self):
        return 0

    def reset_cause(self):
        return RESET_POWER

    def all_off(self):
        self._zones = 0
        self._outputs = 0

    def send(self, octets, count):
        self._wire = bytes(memoryview(octets)[:count])

    def turn(self, owed):
        self._sink.write(
            struct.pack(ANSWER_HEAD, self._zones, self._outputs, owed, len(self._wire)) + self._wire
        )
        if hasattr(self._sink, "flush"):
            self._sink.flush()


def serve():
    """Run the device on this process's standard input and output."""
    start(PipePort(sys.stdin.buffer, sys.stdout.buffer))


if __name__ == "__main__":
    serve()
