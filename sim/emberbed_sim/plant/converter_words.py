"""Words of the converters that are not a MAX31855K, as a device reads or records them.

A device keeps four bytes of each channel. Of a MAX6675 that is its own word, then 0; of a MAX31856,
which has 41 bits to tell, what its driver makes of them: hot in 1/16 degC, cold in 1/8 degC, five
flags. Written apart from the firmware's decoder on purpose.
"""

from math import floor

from emberbed_sim.plant.converter import (
    COUPLE_C,
    OPEN_CIRCUIT,
    SHORT_TO_GROUND,
    SHORT_TO_SUPPLY,
    chip_c,
    pack_word,
    type_k_mv,
)

MAX31855K, MAX31856, MAX6675 = "MAX31855K", "MAX31856", "MAX6675"
# MAX31856, flags of the four bytes; lost (16) comes of no word that a plant makes
FINE_OPEN, FINE_VOLTAGE, FINE_HOT_RANGE, FINE_COLD_RANGE = 1, 2, 4, 8
FINE_HOT_C = (-200.0, 1372.0)  # type K, and the chip's own, datasheet
FINE_COLD_C = (-55.0, 125.0)
COARSE_MV_PER_C = 0.041  # what a MAX6675 assumes
COARSE_OPEN = 4
COARSE_STEPS = 4095


def type_k_c(emf_mv: float) -> float:
    """Return the junction in degC for an EMF against 0 degC; held at the ends of the table."""
    low, high = COUPLE_C
    if emf_mv <= type_k_mv(low):
        return low
    if emf_mv >= type_k_mv(high):
        return high
    celsius = min(max(emf_mv / 0.041, low + 1), high - 1)
    for _step in range(60):
        off_mv = type_k_mv(celsius) - emf_mv
        if abs(off_mv) < 1e-9:
            return celsius
        low, high = (low, celsius) if off_mv > 0 else (celsius, high)
        slope = (type_k_mv(celsius + 0.01) - type_k_mv(celsius - 0.01)) / 0.02
        celsius -= off_mv / slope
        if not low < celsius < high:
            celsius = (low + high) / 2
    return celsius


def believed_c(converter: str, emf_mv: float, cold_c: float) -> float:
    """Return the temperature that a converter makes of a voltage and its own temperature."""
    if converter == MAX31856:
        return type_k_c(emf_mv + type_k_mv(cold_c))
    if converter == MAX6675:
        return cold_c + emf_mv / COARSE_MV_PER_C
    return chip_c(emf_mv, cold_c)


def word_of(converter: str, read_c: float, cold_c: float, bits: int) -> int:
    """Return the 32 bits of a channel; `bits` are the faults as a MAX31855K names them."""
    if converter == MAX31856:
        return pack_max31856(read_c, cold_c, _fine_flags(bits))
    if converter == MAX6675:  # it sees no shorts, and a couple at the supply drives it to its end
        end_c = COARSE_STEPS / 4 if bits & SHORT_TO_SUPPLY else read_c
        return pack_max6675(end_c, bits & OPEN_CIRCUIT != 0) << 16
    return pack_word(read_c, cold_c, bits)


def pack_max6675(read_c: float, is_open: bool) -> int:
    """Return the chip's 16 bits: 12 of 0.25 degC from 0 on, then the open bit."""
    steps = min(max(floor(read_c * 4 + 0.5), 0), COARSE_STEPS)
    return steps << 3 | (COARSE_OPEN if is_open else 0)


def pack_max31856(read_c: float, cold_c: float, flags: int) -> int:
    """Return the 32 bits that a device keeps of the chip's registers."""
    if not FINE_HOT_C[0] <= read_c <= FINE_HOT_C[1]:
        flags |= FINE_HOT_RANGE
    if not FINE_COLD_C[0] <= cold_c <= FINE_COLD_C[1]:
        flags |= FINE_COLD_RANGE
    hot = min(max(floor(read_c * 16), -32768), 32767) & 0xFFFF
    cold = min(max(floor(cold_c * 8), -1024), 1023) & 0x7FF
    return hot << 16 | cold << 5 | flags


def _fine_flags(bits: int) -> int:
    flags = FINE_OPEN if bits & OPEN_CIRCUIT else 0
    return flags | (FINE_VOLTAGE if bits & (SHORT_TO_GROUND | SHORT_TO_SUPPLY) else 0)
