"""Converter words for acceptance: what each kind of converter would say of two temperatures.

Written apart from the firmware's drivers and decoder, from the makers' tables of bits, so that
neither agrees with the other's mistakes. A word has 32 bits, as a port puts it into a record.
"""

from emberbed_fw import settings, trip_codes
from emberbed_sim.plant.converter import (
    OPEN_CIRCUIT,
    SHORT_TO_GROUND,
    SHORT_TO_SUPPLY,
    convert,
    type_k_mv,
)

COLD_C = 25.0
MIDDLE_RATIO = 0x8000_0000  # a thermistor at about the value of its divider
MAX6675_MV_PER_C = 0.041  # the straight line that chip assumes; its cold end is not told
_NO_WORD = 0


def word(kind: int, hot_c: float, cold_c: float = COLD_C) -> int:
    """Return what a healthy converter of this kind says; ValueError for a kind unknown here."""
    if kind == settings.CONVERTER_MAX31855K:
        return convert(hot_c, cold_c)
    if kind == settings.CONVERTER_MAX31856:  # straightened by the chip; 1/16 and 1/8 degC
        return (round(hot_c * 16) & 0xFFFF) << 16 | (round(cold_c * 8) & 0x7FF) << 5
    if kind == settings.CONVERTER_MAX6675:
        read_c = (type_k_mv(hot_c) - type_k_mv(COLD_C)) / MAX6675_MV_PER_C + COLD_C
        return (min(max(round(read_c * 4), 0), 0xFFF) << 3) << 16
    if kind == settings.CONVERTER_THERMISTOR:
        return MIDDLE_RATIO
    raise ValueError(f"converter kind {kind} is not known to this acceptance: update the program")


def broken_word(kind: int, trip: int) -> int | None:
    """Return the word in which a converter says what is wrong; None where it cannot say that."""
    if trip == trip_codes.SENSOR_BUS_DEAD:
        return _NO_WORD
    if kind == settings.CONVERTER_MAX31855K:
        bit = {
            trip_codes.SENSOR_OPEN: OPEN_CIRCUIT,
            trip_codes.SENSOR_SHORT_GROUND: SHORT_TO_GROUND,
            trip_codes.SENSOR_SHORT_SUPPLY: SHORT_TO_SUPPLY,
        }.get(trip)
        return None if bit is None else convert(0.0, COLD_C, bit)
    if kind == settings.CONVERTER_MAX31856:  # of its fault register: open, over or under voltage
        flag = {trip_codes.SENSOR_OPEN: 1, trip_codes.SENSOR_SHORT_SUPPLY: 2}.get(trip)
        return None if flag is None else word(kind, COLD_C) | flag
    if kind == settings.CONVERTER_MAX6675 and trip == trip_codes.SENSOR_OPEN:
        return word(kind, COLD_C) | 4 << 16
    return None
