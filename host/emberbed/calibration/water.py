"""Where water boils: the saturation line of IAPWS-IF97, and the air's pressure at an altitude.

`boils_c` is the backward equation of region 4, IAPWS R7-97(2012) eq. 31 with table 34, coefficients
compared in tests with the release's own check values. `isa_kpa` is the standard atmosphere's first
layer, ISO 2533 (ICAO Doc 7488). Pressures in kPa, altitudes in m, temperatures in °C.
"""

from math import sqrt

ZERO_C_K = 273.15
KPA_PER_MPA = 1000.0
# IAPWS-IF97 table 34, n1 .. n10
N1, N2, N3, N4, N5, N6, N7, N8, N9, N10 = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5,
    -0.32325550322333e7, 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6,
    -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip
LEAST_MPA, MOST_MPA = 611.213e-6, 22.064  # of the equation

STANDARD_KPA = 101.325
EARTH_RADIUS_M = 6_356_766.0  # nominal, ISO 2533
LAPSE_PER_M = 0.0065 / 288.15
EXPONENT = 9.80665 * 0.0289644 / (8.31432 * 0.0065)


def boils_c(pressure_kpa: float) -> float:
    """Return the saturation temperature of water. ValueError outside 0.612 to 22,064 kPa."""
    pressure_mpa = pressure_kpa / KPA_PER_MPA
    if not LEAST_MPA <= pressure_mpa <= MOST_MPA:
        raise ValueError(f"water has no boiling point at {pressure_kpa:g} kPa")
    beta = pressure_mpa**0.25
    e = beta * beta + N3 * beta + N6
    f = N1 * beta * beta + N4 * beta + N7
    g = N2 * beta * beta + N5 * beta + N8
    d = 2 * g / (-f - sqrt(f * f - 4 * e * g))
    kelvin = (N10 + d - sqrt((N10 + d) ** 2 - 4 * (N9 + N10 * d))) / 2
    return kelvin - ZERO_C_K


def isa_kpa(altitude_m: float, sea_level_kpa: float = STANDARD_KPA) -> float:
    """Return the pressure at an altitude above the sea for this pressure at sea level."""
    geopotential_m = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
    return sea_level_kpa * (1 - LAPSE_PER_M * geopotential_m) ** EXPONENT
