"""`machine` of the test board: pins that remember, couples at room warmth, a watchdog that bites.

Stands for the module of RP2 and ESP32 boards, as far as the firmware's ports use it. The watchdog
tells of each feeding in a file; whoever runs the board looks at it and ends the interpreter in
time. What outlives a reset lies in a file too, which whoever takes the power away empties.
"""

import os
import struct

PWRON_RESET = 1
WDT_RESET = 3
COLD_WORD = 25 * 16 << 4
WARM_QUARTERS = 100
FLICKER_READINGS = 20
fed = None  # the file of the watchdog
kept = None  # the file that outlives a reset
pins = {}


class Pin:
    IN, OUT, PULL_UP, IRQ_FALLING = 0, 1, 2, 4

    def __init__(self, number, mode=IN, pull=-1, value=None):
        self._number = number
        if value is not None:
            pins[number] = value
        elif pull == Pin.PULL_UP and number not in pins:
            pins[number] = 1

    def value(self, level=None):
        if level is None:
            return pins.get(self._number, 0)
        pins[self._number] = level

    def __call__(self, level=None):
        return self.value(level)

    def irq(self, handler=None, trigger=0):
        pass


class SPI:
    def __init__(self, number, **_options):
        self._readings = 0

    def init(self, **_options):
        pass

    def readinto(self, into):
        self._readings += 1
        high = WARM_QUARTERS + self._readings // FLICKER_READINGS % 2 << 2
        into[:] = (struct.pack(">HH", high, COLD_WORD) * 8)[: len(into)]

    def write(self, out):
        pass

    def write_readinto(self, out, into):
        self.readinto(into)


class I2C:
    """A bus with nobody on it."""

    def __init__(self, number, **_options):
        pass

    def writeto(self, address, octets):
        raise OSError(19)

    def writevto(self, address, pieces):
        raise OSError(19)

    def scan(self):
        return []


class ADC:
    ATTN_11DB = 3

    def __init__(self, pin, atten=0):
        pass

    def read_u16(self):
        return 32768


class WDT:
    def __init__(self, timeout):
        self._timeout = timeout
        self.feed()

    def feed(self):
        fed.seek(0)
        fed.write(struct.pack("<I", self._timeout))
        fed.flush()


class Memory:
    """One word beside the processor, at whatever address."""

    def __getitem__(self, address):
        kept.seek(0)
        octets = kept.read(4)
        return struct.unpack("<I", octets)[0] if octets else 0

    def __setitem__(self, address, word):
        kept.seek(0)
        kept.write(struct.pack("<I", word))
        kept.flush()


mem32 = Memory()


class RTC:
    """The memory of an ESP32's clock, which outlives a reset."""

    def memory(self, octets=None):
        kept.seek(0)
        if octets is None:
            return kept.read(4)
        kept.write(octets)
        kept.flush()


def unique_id():
    return b"TESTBORD"


def reset_cause():
    return WDT_RESET if mem32[0] else PWRON_RESET


def reset():
    os.system("kill -15 $PPID")
    while True:
        pass
