"""How much of a package's moisture stays in it after some time at heat: a slab by Fick's law.

A body of mould compound, evenly soaked, whose open faces are kept dry: the series solution of a
plane sheet (Crank, The Mathematics of Diffusion, equation 4.18). The diffusivity is that of one
compound (0.313 eV through 3.8e-13 m2/s at 20 °C and 3.6e-12 at 85 °C, repository.tudelft.nl uuid
40be966e); others differ by a factor of SPREAD either way, as the bake tables themselves do. mm,
degrees C, s; a real chip dries worse where die, pads and balls bar the way.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import exp, pi

BOLTZMANN_EV_K = 8.617333262e-5  # CODATA 2018
ZERO_C_K = 273.15
ACTIVATION_EV = 0.313
D0_M2_S = 9.13e-8
SPREAD = 3.0  # between compounds, either way; from memory, and what the bake tables imply
LEAST_FO = 1e-9  # below it nothing has left
ENOUGH = 1e-12  # of a term of the series
CAUTION = (
    "Minutes on a preheater are no bake: this is an estimate for one compound, no proof that a part"
    " may be heated, and no bake by J-STD-033."
)


@dataclass(frozen=True)
class Dryness:
    """The share of the moisture that stays, 0 to 1: as expected, and from wettest to driest."""

    stays: float
    stays_most: float
    stays_least: float

    def sentence(self, what: str) -> str:
        """Return it for a person; `what` names the heating, as in "3 min at 90 °C"."""
        return (
            f"After {what} about {shown_share(self.stays)} of the moisture is still in the body"
            f" ({shown_share(self.stays_least)} to {shown_share(self.stays_most)}, as compounds"
            " differ)."
        )


def diffusivity_m2_s(body_c: float) -> float:
    """Return the diffusivity of water in the mould compound."""
    return D0_M2_S * exp(-ACTIVATION_EV / (BOLTZMANN_EV_K * (body_c + ZERO_C_K)))


def stays(fourier: float) -> float:
    """Return the share that stays in a plane sheet with both faces dry; fourier = D t / L²."""
    if fourier < LEAST_FO:
        return 1.0
    total, order = 0.0, 1
    while True:
        term = exp(-((order * pi) ** 2) * fourier) / order**2
        total += term
        if term < ENOUGH:
            return min(1.0, 8 / pi**2 * total)
        order += 2


def dryness(heating: Iterable[tuple[float, float]], thickness_mm: float, faces: int = 1) -> Dryness:
    """Return what (degrees C, seconds) after each other do to a body of this thickness.

    faces: 2 for a loose part, 1 for one that is soldered to a board, which dries as one of twice
    its thickness would.
    """
    length_m = thickness_mm * 1e-3 * (2 if faces == 1 else 1)
    fourier = sum(diffusivity_m2_s(body_c) * seconds for body_c, seconds in heating) / length_m**2
    return Dryness(stays(fourier), stays(fourier / SPREAD), stays(fourier * SPREAD))


def shown_share(share: float) -> str:
    """Return a share in per cent, with decimals where it is nearly all."""
    percent = 100 * share
    return f"{percent:.1f} %" if 90 < percent < 99.95 else f"{percent:.0f} %"
