"""MAX31856: sixteen registers. Set up once, then read whole in every tick, setup included.

Converts by itself, tests for an open couple once in 16 conversions, straightens the couple's curve.
A chip whose setup reads back otherwise has lost its supply, or nobody answers: it is set up anew,
and until its first conversion is through, the channel says so. `read` packs 41 bits into the
channel's four bytes (converters.py): hot in 1/16 degC, cold in 1/8 degC, five flags.
"""

from emberbed_fw.converters import (
    FLAG_COLD_RANGE,
    FLAG_HOT_RANGE,
    FLAG_LOST,
    FLAG_OPEN,
    FLAG_VOLTAGE,
)
from emberbed_fw.settings import AVERAGE_SHIFT, COUPLE_MASK, FILTER_50_HZ
from emberbed_fw.units import TICK_MS, WORD_BYTES

PHASE = 1
WRITE = 0x80
CR0_AUTO = 0x80
CR0_OPEN_TEST = 0x10  # for leads below 5 kohm
CR0_50_HZ = 0x01
SETUP_BYTES = 10  # CR0, CR1, MASK, limits of cold and couple, cold offset
REGISTERS = 16
# Of a conversion with the 50 Hz filter, and of each further one that is averaged; from memory.
CONVERSION_MS = 110
FURTHER_MS = 40
# status register
COLD_RANGE, HOT_RANGE, COLD_LIMITS, HOT_LIMITS, VOLTAGE, OPEN = 0x80, 0x40, 0x30, 0x0C, 2, 1


class Max31856:
    def __init__(self, bus, cs, options):
        """options: a channel's, as in settings.py."""
        self._bus = bus
        self._cs = cs
        average = options >> AVERAGE_SHIFT & 3
        filter_bit = CR0_50_HZ if options & FILTER_50_HZ else 0
        # no fault pin, limits that nothing reaches, no cold offset: as at power-up
        self._setup = bytearray((
            CR0_AUTO | CR0_OPEN_TEST | filter_bit, average << 4 | options & COUPLE_MASK,
            0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00,
        ))
        self._stop = bytearray((WRITE, filter_bit))
        self._rest = bytearray((WRITE | 1,)) + self._setup[1:]
        self._go = bytearray((WRITE, self._setup[0]))
        self._ask = bytearray(1 + REGISTERS)
        self._got = bytearray(1 + REGISTERS)
        self._got_setup = memoryview(self._got)[1 : 1 + SETUP_BYTES]
        first_ms = CONVERSION_MS + ((1 << average) - 1) * FURTHER_MS
        self._first_ticks = first_ms // TICK_MS + 2
        self._wait_ticks = 0

    def set_up(self):
        """Write every setting; the filter may only change while the chip stands still."""
        self._bus.write(self._cs, PHASE, self._stop)
        self._bus.write(self._cs, PHASE, self._rest)
        self._bus.write(self._cs, PHASE, self._go)
        self._wait_ticks = self._first_ticks

    def read(self, words, channel):
        self._bus.exchange(self._cs, PHASE, self._ask, self._got)
        lost = self._got_setup != self._setup
        if lost:
            self.set_up()
        elif self._wait_ticks > 0:
            self._wait_ticks -= 1
        self._pack(words, channel * WORD_BYTES, lost)
        return not lost and self._wait_ticks == 0

    def _pack(self, words, at, lost):
        got = self._got  # its byte 0 came while the address went out
        words[at] = got[1 + 12]
        words[at + 1] = got[1 + 13]
        words[at + 2] = got[1 + 10]
        words[at + 3] = got[1 + 11] & 0xE0 | (FLAG_LOST if lost else _flags(got[1 + 15]))


def _flags(status):
    flags = FLAG_OPEN if status & OPEN else 0
    if status & VOLTAGE:
        flags |= FLAG_VOLTAGE
    if status & (HOT_RANGE | HOT_LIMITS):
        flags |= FLAG_HOT_RANGE
    if status & (COLD_RANGE | COLD_LIMITS):
        flags |= FLAG_COLD_RANGE
    return flags
