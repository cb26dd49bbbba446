"""Converter words to numbers: MAX31855K, four bytes read as two 16-bit halves.

Takes the byte buffer of all channels; gives a fault (a sensor code of trip_codes, 0 = good) and the
corrected temperature in cdeg. A dead bus (all 0, all 1, a reserved bit set), a fault bit without
the summary bit and the other way round are never readings. Serves hazard H02.
"""

from emberbed_fw.trip_codes import (
    NO_TRIP,
    SENSOR_BUS_DEAD,
    SENSOR_OPEN,
    SENSOR_SHORT_GROUND,
    SENSOR_SHORT_SUPPLY,
)
from emberbed_fw.type_k import correct_linear
from emberbed_fw.units import WORD_BYTES

RESERVED_HIGH = 0x0002  # D17, always 0
FAULT_SUMMARY = 0x0001  # D16
RESERVED_LOW = 0x0008  # D3, always 0
FAULT_OPEN = 0x0001
FAULT_GROUND = 0x0002
FAULT_SUPPLY = 0x0004
FAULT_BITS = FAULT_OPEN | FAULT_GROUND | FAULT_SUPPLY


def high_half(words, channel):
    """Return D31..D16 of `channel` (couple, summary bit)."""
    at = channel * WORD_BYTES
    return words[at] << 8 | words[at + 1]


def low_half(words, channel):
    """Return D15..D0 of `channel` (cold junction, fault bits)."""
    at = channel * WORD_BYTES + 2
    return words[at] << 8 | words[at + 1]


def find_fault(high, low):
    """Return the fault that a word reports or betrays, NO_TRIP for a good one."""
    if high == 0 and low == 0:
        return SENSOR_BUS_DEAD  # decodes as a valid 0.00 / 0.00 degC
    if high & RESERVED_HIGH or low & RESERVED_LOW:
        return SENSOR_BUS_DEAD
    if low & FAULT_OPEN:
        return SENSOR_OPEN
    if low & FAULT_GROUND:
        return SENSOR_SHORT_GROUND
    if low & FAULT_SUPPLY:
        return SENSOR_SHORT_SUPPLY
    if high & FAULT_SUMMARY:
        return SENSOR_BUS_DEAD
    return NO_TRIP


def _signed(number, bits):
    return number - (1 << bits) if number >> (bits - 1) else number


def cold_sixteenths(low):
    """Return the cold junction in sixteenths of a degree C."""
    return _signed(low >> 4, 12)


def hot_cdeg(high, low):
    """Return the corrected couple temperature in cdeg, NO_READING_CDEG outside type K's table."""
    return correct_linear(_signed(high >> 2, 14), cold_sixteenths(low))
