"""By how much a reading may be off: the couple's wire, the converter, its own cold end.

Sources: type K of class 2, IEC 60584-1: 2.5 °C or 0.75 % of the temperature, whichever is more. Of
the converter its datasheet: MAX31855K +-2 °C from -200 to 700 °C, and +-2 °C for the cold end (the
second figure from memory); MAX31856 0.15 % of what a board reads at most, +-0.7 °C for the cold
end; MAX6675 8 steps of 0.25 °C, +-3 °C for the cold end (from memory). Independent of each other,
they add as squares (JCGM 100:2008, 5.1.2). What a bead that touches badly adds is in no figure.
"""

from math import hypot
from typing import NamedTuple

from emberbed.device_description import Channel
from emberbed_fw.settings import (
    CONVERTER_MAX6675,
    CONVERTER_MAX31855K,
    CONVERTER_MAX31856,
    CONVERTER_NAMES,
)
from emberbed_fw.units import CALIBRATION_ONE_Q12

WIRE_C = 2.5
WIRE_SHARE = 0.0075


class ConverterError(NamedTuple):
    """In degrees C."""

    couple_c: float
    cold_end_c: float


CONVERTERS = {
    CONVERTER_NAMES[CONVERTER_MAX31855K]: ConverterError(2.0, 2.0),
    CONVERTER_NAMES[CONVERTER_MAX31856]: ConverterError(0.6, 0.7),
    CONVERTER_NAMES[CONVERTER_MAX6675]: ConverterError(2.0, 3.0),
}


def wire_error_c(celsius: float) -> float:
    """Return what the couple's wire may be off at a temperature."""
    return max(WIRE_C, WIRE_SHARE * abs(celsius))


def reading_error_c(celsius: float, converter: str) -> float | None:
    """Return what a reading may be off in all, None for a converter that is not known."""
    of = CONVERTERS.get(converter)
    return None if of is None else hypot(wire_error_c(celsius), *of)


def is_calibrated(channel: Channel) -> bool:
    """Tell whether somebody has set this input to a known temperature."""
    return bool(channel.offset_cdeg) or channel.gain_q12 != CALIBRATION_ONE_Q12


def error_words(converters: set[str]) -> str:
    """Say what the figures are made of, for the converters that are there."""
    parts = [
        f"{name} ±{error.couple_c:g} °C, its cold end ±{error.cold_end_c:g} °C"
        for name, error in CONVERTERS.items()
        if name in converters
    ]
    wire = f"type K wire of class 2 ±{WIRE_C:g} °C or {WIRE_SHARE:.2%} (IEC 60584-1)"
    return (
        f"± is what a reading may be off: {'; '.join([wire, *parts])}; added as squares. How well"
        " the bead touched is not in it."
    )
