"""What a bead is dipped into, off the heater: ice, boiling water, freezing solder, a dry block.

Each gives its temperature in degC at a simulated time in s. Water boils by the equation of Wagner
and Pruss (IAPWS SR1-86(1992), coefficients from memory), which the host's reference does not use.
"""

from dataclasses import dataclass
from math import exp, log
from typing import Protocol

ZERO_C_K = 273.15
CRITICAL_K, CRITICAL_KPA = 647.096, 22064.0
# ln(p / pc) = Tc / T * sum of factor * (1 - T / Tc) ** power
SATURATION = (
    (-7.85951783, 1.0), (1.84408259, 1.5), (-11.7866497, 3.0), (22.6807411, 3.5),
    (-15.9618719, 4.0), (1.80122502, 7.5),
)  # fmt: skip
COLDEST_BOIL_C, HOTTEST_BOIL_C = 0.0, 370.0
ICE_C = 0.0
# A drop of solder of a few grams beside a bead, taken off the iron; all from memory.
DROP_OVER_C = 35.0  # above its melting point when the iron leaves it
DROP_LAG_S = 45.0
DROP_ROOM_C = 23.0
DROP_FREEZES_S = 25.0


class Bath(Protocol):
    def at_c(self, elapsed_s: float) -> float: ...


@dataclass(frozen=True)
class Still:
    """A bath that keeps its temperature."""

    held_c: float

    def at_c(self, elapsed_s: float) -> float:
        return self.held_c


@dataclass(frozen=True)
class FreezingDrop:
    """Solder of one melting point: cools by itself, stands while it freezes, cools on."""

    melts_c: float
    begun_s: float

    def at_c(self, elapsed_s: float) -> float:
        over_room_c = self.melts_c - DROP_ROOM_C
        freezes_s = DROP_LAG_S * log((over_room_c + DROP_OVER_C) / over_room_c)
        age_s = elapsed_s - self.begun_s
        if age_s < freezes_s:
            return DROP_ROOM_C + (over_room_c + DROP_OVER_C) * exp(-age_s / DROP_LAG_S)
        solid_s = max(0.0, age_s - freezes_s - DROP_FREEZES_S)
        return DROP_ROOM_C + over_room_c * exp(-solid_s / DROP_LAG_S)


def saturation_kpa(celsius: float) -> float:
    """Return the pressure in kPa at which water boils at this temperature."""
    kelvin = celsius + ZERO_C_K
    away = 1 - kelvin / CRITICAL_K
    total = sum(factor * away**power for factor, power in SATURATION)
    return CRITICAL_KPA * exp(CRITICAL_K / kelvin * total)


def boils_c(pressure_kpa: float) -> float:
    """Return where water boils at a pressure in kPa, by halving the range."""
    low, high = COLDEST_BOIL_C, HOTTEST_BOIL_C
    if not saturation_kpa(low) <= pressure_kpa <= saturation_kpa(high):
        raise ValueError(f"Water does not boil at {pressure_kpa} kPa here.")
    for _step in range(60):
        middle = (low + high) / 2
        if saturation_kpa(middle) < pressure_kpa:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def bath_of(kind: str, number: float, elapsed_s: float) -> Bath:
    """Return what a hand means: ice, boiling (kPa), freezing (degC), block (degC)."""
    if kind == "ice":
        return Still(ICE_C)
    if kind == "boiling":
        return Still(boils_c(number))
    if kind == "freezing":
        return FreezingDrop(number, elapsed_s)
    if kind == "block":
        return Still(number)
    raise ValueError(f"Bath '{kind}' is not known; take ice, boiling, freezing or block.")
