"""By how much a reading may be off: every source of error, added up as the GUM says.

`budget_of` takes a temperature in °C, the converter, and the points of the channel's calibration if
their errors are known; gives the terms and the expanded uncertainty (k = 2, about 95 %) in K.
Half-widths are equally likely throughout, so each over the root of 3 is a standard uncertainty
(JCGM 100:2008, 4.3.7); independent ones add as squares (5.1.2), and are doubled (6.2.1).

Sources: type K wire, class 1 and 2, IEC 60584-1. Of the converters their datasheets: MAX31855K
+-2 °C from -200 to 700 °C, +-2 °C for the cold end (from memory); MAX31856 0.15 % of what a board
reads at most, +-0.7 °C for the cold end; MAX6675 8 steps of 0.25 °C, +-3 °C for the cold end (from
memory). What a calibration takes away of these, and the contact: judgement, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import NamedTuple

from emberbed.calibration.known import Known
from emberbed_fw.settings import (
    CONVERTER_MAX6675,
    CONVERTER_MAX31855K,
    CONVERTER_MAX31856,
    CONVERTER_NAMES,
)

COVERAGE = 2
RECTANGULAR = sqrt(3)


class WireClass(NamedTuple):
    """The greater of both: K, and the share of the temperature."""

    least_k: float
    share: float


WIRES = {1: WireClass(1.5, 0.004), 2: WireClass(2.5, 0.0075)}
USUAL_CLASS = 2  # of a couple that nobody knows


class ConverterError(NamedTuple):
    """Half-widths in K, and the step of a reading."""

    couple_k: float
    cold_end_k: float
    step_k: float


CONVERTERS = {
    CONVERTER_NAMES[CONVERTER_MAX31855K]: ConverterError(2.0, 2.0, 0.25),
    CONVERTER_NAMES[CONVERTER_MAX31856]: ConverterError(0.6, 0.7, 0.0078125),
    CONVERTER_NAMES[CONVERTER_MAX6675]: ConverterError(2.0, 3.0, 0.25),
}
# A calibration takes a constant error of the cold end away; the box is warmer or colder another
# day, and that part stays.
COLD_END_LEFT = 1 / 3
# A bead under one layer of tape is colder than the board by so much of what the board is above the
# room; one that is soldered or cemented down by a fifth of it. One-sided, counted to both sides.
TAPED_SHARE = 0.015
ROOM_C = 23.0


class Term(NamedTuple):
    """One source of error: in words, and its standard uncertainty in K."""

    name: str
    standard_k: float


@dataclass(frozen=True)
class Budget:
    celsius: float
    terms: tuple[Term, ...]

    @property
    def standard_k(self) -> float:
        """Return the combined standard uncertainty."""
        return hypot(*(term.standard_k for term in self.terms))

    @property
    def expanded_k(self) -> float:
        """Return the expanded uncertainty, k = 2."""
        return COVERAGE * self.standard_k


def budget_of(
    celsius: float,
    converter: str,
    known: Known | None = None,
    wire_class: int = USUAL_CLASS,
    contact_share: float = TAPED_SHARE,
) -> Budget | None:
    """Return the budget of a reading, None for a converter that is not known.

    known None: not calibrated, or by nobody knows what; then the tolerances count in full.
    """
    error = CONVERTERS.get(converter)
    if error is None:
        return None
    wire = WIRES[wire_class]
    terms = (
        _bare(celsius, wire, error) if known is None else _calibrated(celsius, wire, error, known)
    )
    contact_k = contact_share * abs(celsius - ROOM_C)
    half_step = Term("step of the converter", error.step_k / 2 / RECTANGULAR)
    touch = Term("how well the bead touches", contact_k / RECTANGULAR)
    return Budget(celsius, (*terms, half_step, touch))


def wire_k(celsius: float, wire: WireClass = WIRES[USUAL_CLASS]) -> float:
    """Return what a new couple's wire may be off at a temperature."""
    return max(wire.least_k, wire.share * abs(celsius))


def _bare(celsius: float, wire: WireClass, error: ConverterError) -> Sequence[Term]:
    return (
        Term("thermocouple wire", wire_k(celsius, wire) / RECTANGULAR),
        Term("converter", error.couple_k / RECTANGULAR),
        Term("cold end", error.cold_end_k / RECTANGULAR),
    )


def _calibrated(
    celsius: float, wire: WireClass, error: ConverterError, known: Known
) -> Sequence[Term]:
    """Return what is left: nothing of wire and converter between the points, more beyond them.

    Beyond, the wire's share counts from the nearest point on, and the converter's error grows in
    proportion until it is whole one span away. Never more than without a calibration.
    """
    low_c, high_c = known.span_c
    beyond_k = max(0.0, low_c - celsius, celsius - high_c)
    left_wire_k = min(wire.share * beyond_k, wire_k(celsius, wire))
    left_chip_k = error.couple_k * min(1.0, beyond_k / (high_c - low_c))
    return (
        Term("thermocouple wire beyond the points", left_wire_k / RECTANGULAR),
        Term("converter beyond the points", left_chip_k / RECTANGULAR),
        Term("cold end since the calibration", error.cold_end_k * COLD_END_LEFT / RECTANGULAR),
        Term("calibration points", known.standard_k_at(celsius)),
        Term("calibration residual", known.residual_k / RECTANGULAR),
    )


def made_of_words(converters: set[str]) -> str:
    """Say what the figures of uncalibrated readings are made of, for these converters."""
    parts = [
        f"{name} ±{error.couple_k:g} °C, its cold end ±{error.cold_end_k:g} °C"
        for name, error in CONVERTERS.items()
        if name in converters
    ]
    wire = WIRES[USUAL_CLASS]
    told = f"type K wire of class 2 ±{wire.least_k:g} °C or {wire.share:.2%} (IEC 60584-1)"
    touch = f"touch of the bead {TAPED_SHARE:.1%} of what it is above the room (an estimate)"
    return (
        "± is what a reading may be off, with 95 % confidence (expanded uncertainty by the GUM,"
        f" k = 2), made of: {'; '.join([told, *parts, touch])}."
    )
