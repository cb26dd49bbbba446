"""Boot, load a plan, make ticks: a device on a bench of numbers, in whatever interpreter.

`Bench` presses its button as a person does who starts the device's own hold; its switches and its
bead are healthy. Run as a script (arguments: folder of the firmware, ticks), it prints free bytes,
the largest free block and the state after them.
"""

import gc
import struct
import sys

if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])

from emberbed_fw.link import Link
from emberbed_fw.main_loop import one_turn
from emberbed_fw.panel import Panel
from emberbed_fw.recorder import Recorder, run_blocks_for
from emberbed_fw.settings import Settings, pack_settings
from emberbed_fw.tick import Machine

# numbers of the firmware that a folded one has no names for
TICK = 0
COUPLE = ("bead", 1, 20000, 0, 4096)
ALL_SENSES = 3  # contactor and heater current
PRESSES = ((20, 34), (80, 94))  # loads and arms the hold; starts it
TOUCH_TICKS = 6000  # somebody touches the button now and then
PORT_BUTTON, PORT_CONTACTOR_CLOSED, PORT_HEAT_CURRENT, OUT_CONTACTOR = 1, 2, 4, 1


class Bench:
    """A device port (device_port.py) with a heater that follows: 0.02 degC a tick while on."""

    screen = None

    def __init__(self):
        self.received = bytearray(64)
        self.count = 0
        self.ticks = 0
        self._driven = (0, 0)
        self._bead_mk = 25000

    def settings_block(self):
        return pack_settings(ALL_SENSES, [COUPLE, COUPLE], [(1000, 2)], 0, 9000)

    def wait(self):
        return TICK

    def sample(self, inputs):
        self.ticks += 1
        zones, outputs = self._driven
        self._bead_mk += 25 if zones else -4 if self._bead_mk > 25000 else 0
        inputs.elapsed_ms = 100
        inputs.fresh_channels = 3
        flags = 0
        for first, last in PRESSES:
            if first <= self.ticks < last:
                flags |= PORT_BUTTON
        if self.ticks % TOUCH_TICKS < 3:
            flags |= PORT_BUTTON
        if outputs & OUT_CONTACTOR:
            flags |= PORT_CONTACTOR_CLOSED
            if zones:
                flags |= PORT_HEAT_CURRENT
        inputs.port_flags = flags
        high = self._bead_mk // 250 + self.ticks // 20 % 2 << 2
        word = struct.pack(">HH", high, 25 * 16 << 4)
        inputs.words[:8] = word + word

    def drive(self, zones, outputs):
        self._driven = (zones, outputs)

    def all_off(self):
        self._driven = (0, 0)

    def feed(self):
        pass

    def keep(self, code):
        pass

    def read_plan(self):
        return b""

    def write_plan(self, octets):
        pass

    def kept(self):
        return 0

    def reset_cause(self):
        return 0

    def send(self, octets, count):
        pass

    def turn(self, owed):
        pass


def build(port, free_bytes):
    """Return what main_loop runs: machine, recorder, link, panel, port."""
    machine = Machine(Settings(port.settings_block()))
    recorder = Recorder(run_blocks_for(free_bytes))
    link = Link(machine, recorder, 7, b"12345678")
    return machine, recorder, link, Panel(machine, link, port), port


def run(parts, ticks):
    for _tick in range(ticks):
        one_turn(parts[0], parts[1], parts[2], parts[3], parts[4])


def largest_free_block():
    """Return the largest piece that the heap still gives, in bytes."""
    low, high = 0, gc.mem_free()
    while high - low > 256:
        middle = (low + high) // 2
        try:
            bytearray(middle)
            low = middle
        except MemoryError:
            high = middle
    return low


def main():
    gc.collect()
    parts = build(Bench(), gc.mem_free())
    run(parts, int(sys.argv[2]))
    gc.collect()
    print(gc.mem_free(), largest_free_block(), parts[0].life.state, parts[1].run_bytes)


if __name__ == "__main__":
    main()
