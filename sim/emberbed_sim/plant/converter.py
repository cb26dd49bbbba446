"""What a MAX31855K puts on the SPI bus: the couple's EMF (ITS-90) seen by a linear chip.

Takes hot and cold junction in degC, gives 32-bit words and the 32-byte buffer of eight channels,
each word big-endian as it is clocked out. Written apart from the firmware's decoder on purpose:
the two are tested against each other.
"""

from collections.abc import Sequence
from math import exp, floor
from struct import pack

from emberbed_sim.plant.parameters import CHANNELS

OPEN_CIRCUIT = 1
SHORT_TO_GROUND = 2
SHORT_TO_SUPPLY = 4
CHIP_MV_PER_C = 0.041276  # the straight line the chip assumes
HOT_STEP_C = 0.25
COLD_STEP_C = 0.0625
COUPLE_C = (-270.0, 1372.0)  # range of the reference function
WORD_BYTES = 4

# NIST Monograph 175, type K, mV over degC, lowest power first.
_BELOW_ZERO = (
    0.0,
    3.94501280250e-2,
    2.36223735980e-5,
    -3.28589067840e-7,
    -4.99048287770e-9,
    -6.75090591730e-11,
    -5.74103274280e-13,
    -3.10888728940e-15,
    -1.04516093650e-17,
    -1.98892668780e-20,
    -1.63226974860e-23,
)
_ABOVE_ZERO = (
    -1.76004136860e-2,
    3.89212049750e-2,
    1.85587700320e-5,
    -9.94575928740e-8,
    3.18409457190e-10,
    -5.60728448890e-13,
    5.60750590590e-16,
    -3.20207200030e-19,
    9.71511471520e-23,
    -1.21047212750e-26,
)
_BELOW_ZERO_HIGHEST_FIRST = tuple(reversed(_BELOW_ZERO))


def type_k_mv(junction_c: float) -> float:
    """Return the EMF in mV against 0 degC; held at its end values outside -270..1372 degC."""
    t = min(max(junction_c, COUPLE_C[0]), COUPLE_C[1])
    if t < 0:
        emf_mv = 0.0
        for coefficient in _BELOW_ZERO_HIGHEST_FIRST:
            emf_mv = emf_mv * t + coefficient
        return emf_mv
    # without a loop: every couple of every tick passes here
    a, b, c, d, e, f, g, h, i, j = _ABOVE_ZERO
    powers_mv = (
        (((((((j * t + i) * t + h) * t + g) * t + f) * t + e) * t + d) * t + c) * t + b
    ) * t
    return powers_mv + a + 0.118597600000 * exp(-1.18343200000e-4 * (t - 126.9686) ** 2)


def apparent_c(hot_c: float, cold_c: float) -> float:
    """Return the temperature the chip believes, in degC, before rounding."""
    return chip_c(type_k_mv(hot_c) - type_k_mv(cold_c), cold_c)


def chip_c(emf_mv: float, cold_c: float) -> float:
    """Return the temperature the chip makes of a voltage and its own cold junction, in degC."""
    return cold_c + emf_mv / CHIP_MV_PER_C


def pack_word(chip_hot_c: float, cold_c: float, fault_bits: int = 0) -> int:
    """Return the 32-bit word for the chip's own two temperatures; the fields saturate."""
    any_fault = 1 if fault_bits else 0
    return hot_field(chip_hot_c) | any_fault << 16 | cold_field(cold_c) | fault_bits


def hot_field(chip_hot_c: float) -> int:
    """Return D31..D18, the couple."""
    return (_counts(chip_hot_c, HOT_STEP_C, 14) & 0x3FFF) << 18


def cold_field(cold_c: float) -> int:
    """Return D15..D4, the chip's own temperature."""
    return (_counts(cold_c, COLD_STEP_C, 12) & 0xFFF) << 4


def convert(hot_c: float, cold_c: float, fault_bits: int = 0) -> int:
    """Return the word of a whole couple with these junctions, healthy unless fault bits say so."""
    return pack_word(apparent_c(hot_c, cold_c), cold_c, fault_bits)


def open_word(cold_c: float) -> int:
    """Return the word of a channel whose couple is broken."""
    return pack_word(0.0, cold_c, OPEN_CIRCUIT)


def bus_bytes(words: Sequence[int]) -> bytes:
    """Return the buffer of all channels; those beyond the last word are absent: all zero."""
    return pack(f">{len(words)}I", *words).ljust(CHANNELS * WORD_BYTES, b"\0")


def _counts(degrees_c: float, step_c: float, bits: int) -> int:
    """Return degC as counts of `step_c`, rounded to the nearest, held inside `bits` signed bits."""
    most = (1 << (bits - 1)) - 1
    counts = floor(degrees_c / step_c + 0.5)
    return counts if -most <= counts <= most else max(-most - 1, min(counts, most))
