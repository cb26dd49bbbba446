"""MicroPython's `machine` of the chip that NAME says, on pins that the other end plays.

Only what the ports use, with the rules that a chip has of its own: which pins a bus may have, that
an input-only pin drives nothing, that a watchdog cannot be stopped.
"""

import struct

import pins_link

PWRON_RESET, WDT_RESET = 1, 3
RP2_SPI = (
    ((2, 6, 18, 22), (3, 7, 19, 23), (0, 4, 16, 20)),
    ((10, 14, 26), (11, 15, 27), (8, 12, 24, 28)),
)
RP2_UART = (((0, 12, 16, 28), (1, 13, 17, 29)), ((4, 8, 20, 24), (5, 9, 21, 25)))


class Chip:
    name = "rp2040"


class Pin:
    IN, OUT, PULL_UP, IRQ_FALLING = 0, 1, 1, 4

    def __init__(self, number, mode=-1, pull=-1, value=None):
        if Chip.name == "esp32" and number >= 34 and (mode == Pin.OUT or pull == Pin.PULL_UP):
            raise ValueError("pin can only be input")
        self.number = number
        if mode >= 0:
            # value first, then direction, as the chips do it: no edge of the wrong level
            level = 255 if value is None else value
            pins_link.tell(b"M", bytes((number, mode, pull & 0xFF, level)))

    def __call__(self, level=None):
        return self.value(level)

    def value(self, level=None):
        if level is None:
            return pins_link.ask(b"I", bytes((self.number,)), 1)[0]
        pins_link.tell(b"O", bytes((self.number, level)))

    def irq(self, handler, trigger):
        assert trigger == Pin.IRQ_FALLING
        pins_link.Now.pulse = handler


class SPI:
    def __init__(self, number, baudrate, sck, mosi, miso):
        if Chip.name.startswith("rp2"):
            for pin, allowed in zip((sck, mosi, miso), RP2_SPI[number]):
                if pin.number not in allowed:
                    raise ValueError("bad SPI pin")
        pins_link.tell(b"B", bytes((sck.number, mosi.number, miso.number)))

    def init(self, baudrate, polarity, phase):
        pins_link.tell(b"S", struct.pack("<BBI", polarity, phase, baudrate))

    def readinto(self, into):
        into[:] = self._exchange(bytes(len(into)))

    def write_readinto(self, out, into):
        into[:] = self._exchange(bytes(out))

    def write(self, out):
        self._exchange(bytes(out))

    def _exchange(self, out):
        return pins_link.ask(b"X", struct.pack("<H", len(out)) + out, len(out))


class UART:
    def __init__(self, number, baudrate, tx, rx, rxbuf, txbuf, timeout):
        if Chip.name.startswith("rp2"):
            for pin, allowed in zip((tx, rx), RP2_UART[number]):
                if pin.number not in allowed:
                    raise ValueError("bad UART pin")
        assert timeout == 0

    def readinto(self, into):
        count = min(len(into), len(pins_link.Now.received))
        into[:count] = pins_link.Now.received[:count]
        pins_link.Now.received = pins_link.Now.received[count:]
        return count or None

    def write(self, octets):
        pins_link.tell(b"U", struct.pack("<H", len(octets)) + octets)
        return len(octets)


class I2C:
    def __init__(self, number, sda, scl, freq):
        self.pins = (sda.number, scl.number)


class ADC:
    ATTN_11DB = 3

    def __init__(self, pin, atten=None):
        self._pin = pin.number

    def read_u16(self):
        return struct.unpack("<H", pins_link.ask(b"A", bytes((self._pin,)), 2))[0]


class WDT:
    def __init__(self, timeout):
        pins_link.tell(b"W", struct.pack("<H", timeout))

    def feed(self):
        pins_link.tell(b"F")


class Memory:
    """The one register that the ports use."""

    def __getitem__(self, address):
        return struct.unpack("<I", pins_link.ask(b"k", struct.pack("<I", address), 4))[0]

    def __setitem__(self, address, number):
        pins_link.tell(b"K", struct.pack("<II", address, number))


class RTC:
    def memory(self, octets=None):
        if octets is None:
            number = mem32[0]
            return struct.pack("<I", number) if number else b""
        mem32[0] = struct.unpack("<I", octets)[0]


mem32 = Memory()


def unique_id():
    return b"\xe6\x61\x38\x52\x83\x1c\x2a\x27"


def reset_cause():
    return pins_link.ask(b"C", b"", 1)[0]


def reset():
    pins_link.tell(b"R")
    raise SystemExit
