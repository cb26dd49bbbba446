"""Converter words to numbers, for every kind: four bytes a channel, read as two 16-bit halves.

Takes the byte buffer of all channels and a kind of settings.py; gives a fault (a sensor code of
trip_codes, 0 = good) and the corrected temperature in cdeg. A dead bus (all 0, all 1, a reserved
bit set), a fault bit without the summary bit and the other way round are never readings.

MAX31855K   its own 32 bits
MAX31856    hot in 1/16 degC, 16 bits; cold in 1/8 degC, 11 bits; five flags (drivers/max31856.py)
MAX6675     its own 16 bits, then 16 of 0
thermistor  share of the supply, 16 bits, then 16 of 0

Serves hazard H02.
"""

from emberbed_fw import thermistor
from emberbed_fw.integer_math import divide_round
from emberbed_fw.settings import (
    CONVERTER_MAX6675,
    CONVERTER_MAX31855K,
    CONVERTER_MAX31856,
    CONVERTER_THERMISTOR,
)
from emberbed_fw.trip_codes import (
    NO_TRIP,
    SENSOR_BUS_DEAD,
    SENSOR_OPEN,
    SENSOR_RANGE,
    SENSOR_SHORT_GROUND,
    SENSOR_SHORT_SUPPLY,
)
from emberbed_fw.type_k import MAX6675_NV_PER_DEGC, correct_linear
from emberbed_fw.units import WORD_BYTES

# MAX31855K
RESERVED_HIGH = 0x0002  # D17, always 0
FAULT_SUMMARY = 0x0001  # D16
RESERVED_LOW = 0x0008  # D3, always 0
FAULT_OPEN = 0x0001
FAULT_GROUND = 0x0002
FAULT_SUPPLY = 0x0004
# MAX31856, as its driver packs them
FLAG_OPEN = 1
FLAG_VOLTAGE = 2  # an input below ground or above the supply
FLAG_HOT_RANGE = 4
FLAG_COLD_RANGE = 8
FLAG_LOST = 16  # it is not set up as it was: it has lost its supply, or nobody answers
# MAX6675
ALWAYS_ZERO = 0x8002  # D15 and D1
COUPLE_OPEN = 0x0004  # D2
ASSUMED_COLD_SIXTEENTHS = 400  # 25 degC: it keeps its own to itself. 30 degC more: 0.3 degC off
# thermistor
OPEN_RATIO = 0xFB00  # colder than -40 degC, or a wire off
SHORT_RATIO = 0x0200


def high_half(words, channel):
    """Return D31..D16 of `channel`."""
    at = channel * WORD_BYTES
    return words[at] << 8 | words[at + 1]


def low_half(words, channel):
    """Return D15..D0 of `channel`."""
    at = channel * WORD_BYTES + 2
    return words[at] << 8 | words[at + 1]


def find_fault(kind, high, low):
    """Return the fault that a word reports or betrays, NO_TRIP for a good one."""
    if high == 0 and low == 0:
        return SENSOR_BUS_DEAD  # most kinds would have it for 0.00 / 0.00 degC
    if kind == CONVERTER_MAX31855K:
        return _fault_of_max31855(high, low)
    if kind == CONVERTER_MAX31856:
        return _fault_of_max31856(low)
    if low:
        return SENSOR_BUS_DEAD
    if kind == CONVERTER_MAX6675:
        return _fault_of_max6675(high)
    if high >= OPEN_RATIO:
        return SENSOR_OPEN
    return SENSOR_SHORT_GROUND if high <= SHORT_RATIO else NO_TRIP


def _fault_of_max31855(high, low):
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


def _fault_of_max31856(low):
    if low & FLAG_LOST:
        return SENSOR_BUS_DEAD
    if low & FLAG_OPEN:
        return SENSOR_OPEN
    if low & FLAG_VOLTAGE:
        return SENSOR_SHORT_SUPPLY
    return SENSOR_RANGE if low & (FLAG_HOT_RANGE | FLAG_COLD_RANGE) else NO_TRIP


def _fault_of_max6675(high):
    if high & ALWAYS_ZERO:
        return SENSOR_BUS_DEAD
    return SENSOR_OPEN if high & COUPLE_OPEN else NO_TRIP


def _signed(number, bits):
    return number - (1 << bits) if number >> (bits - 1) else number


def tells_cold(kind):
    """Tell whether a converter of this kind says how warm it is itself."""
    return kind == CONVERTER_MAX31855K or kind == CONVERTER_MAX31856  # a tuple would allocate


def cold_sixteenths(kind, low):
    """Return the cold junction in sixteenths of a degree C, where `tells_cold`."""
    if kind == CONVERTER_MAX31856:
        return _signed(low >> 5, 11) * 2
    return _signed(low >> 4, 12)


def hot_cdeg(kind, options, high, low):
    """Return the corrected temperature in cdeg, NO_READING_CDEG outside the couple's table."""
    if kind == CONVERTER_MAX31856:
        return divide_round(_signed(high, 16) * 25, 4)  # it has straightened the couple's curve
    if kind == CONVERTER_MAX6675:
        return correct_linear(high >> 3 & 0xFFF, ASSUMED_COLD_SIXTEENTHS, MAX6675_NV_PER_DEGC)
    if kind == CONVERTER_THERMISTOR:
        return thermistor.cdeg_of_ratio(high, options)
    return correct_linear(_signed(high >> 2, 14), cold_sixteenths(kind, low))
