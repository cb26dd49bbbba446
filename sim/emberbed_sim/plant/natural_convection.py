"""Natural convection of horizontal plates and of vertical ones, with the properties of dry air.

Takes temperatures in K and lengths in m, gives heat-transfer coefficients in W/m2K. The length of
a horizontal plate is its area over its perimeter. The grid plant reads its coefficients from
`laminar_film`, which samples `plate_w_m2_k`; nothing here runs in a step.
"""

from typing import NamedTuple

GRAVITY_M_S2 = 9.80665
NORMAL_PRESSURE_PA = 101_325.0
AIR_J_KG_K = 287.05  # gas constant of dry air
AIR_HEAT_J_KG_K = 1007.0  # at constant pressure, 300..400 K: tables of dry air
# Sutherland's law, value at 273.15 K and its temperature; constants of dry air, from memory.
VISCOSITY_PA_S, VISCOSITY_K = 1.716e-5, 110.4
CONDUCTIVITY_W_M_K, CONDUCTIVITY_K = 0.0241, 194.0

# Horizontal plates: (Nusselt = factor x Ra^power, valid up to Ra). Hot face up, or cold face down;
# then hot face down, or cold face up. McAdams' correlations as the textbooks print them.
UP_LAMINAR, UP_TURBULENT = (0.54, 1 / 4, 1e7), (0.15, 1 / 3, 1e11)
DOWN = (0.27, 1 / 4, 1e11)
FILM_K = (310.0, 420.0)  # where the laminar coefficient is sampled: a board at 50 to 270 degC


class Air(NamedTuple):
    """Properties of dry air at one temperature and pressure."""

    conductivity_w_m_k: float
    viscosity_m2_s: float  # kinematic
    prandtl: float


def air_at(film_k: float, pressure_pa: float = NORMAL_PRESSURE_PA) -> Air:
    """Return the properties of air at a film temperature of 250..700 K."""
    dynamic_pa_s = _sutherland(film_k, VISCOSITY_PA_S, VISCOSITY_K)
    conductivity = _sutherland(film_k, CONDUCTIVITY_W_M_K, CONDUCTIVITY_K)
    density = pressure_pa / (AIR_J_KG_K * film_k)
    return Air(conductivity, dynamic_pa_s / density, dynamic_pa_s * AIR_HEAT_J_KG_K / conductivity)


def rayleigh(surface_k: float, air_k: float, length_m: float, air: Air) -> float:
    """Return the Rayleigh number of an ideal gas beside a surface."""
    film_k = (surface_k + air_k) / 2
    grashof = GRAVITY_M_S2 * abs(surface_k - air_k) / film_k * length_m**3 / air.viscosity_m2_s**2
    return grashof * air.prandtl


def horizontal_nusselt(rayleigh_number: float, rises: bool) -> float:
    """Return Nu of a horizontal plate whose air rises freely from it (hot face up) or not."""
    if not rises:
        factor, power, _ = DOWN
    else:
        factor, power, _ = UP_LAMINAR if rayleigh_number <= UP_LAMINAR[2] else UP_TURBULENT
    return factor * rayleigh_number**power


def plate_w_m2_k(
    surface_k: float,
    air_k: float,
    length_m: float,
    faces_up: bool,
    pressure_pa: float = NORMAL_PRESSURE_PA,
) -> float:
    """Return h of a horizontal face; a cold face up behaves like a hot face down."""
    air = air_at((surface_k + air_k) / 2, pressure_pa)
    rises = faces_up == (surface_k >= air_k)
    number = rayleigh(surface_k, air_k, length_m, air)
    return horizontal_nusselt(number, rises) * air.conductivity_w_m_k / length_m


class LaminarFilm(NamedTuple):
    """h = (up or down) x |dT|^1/4 x (1 + per_k x (film - first_k)), W/m2K and K."""

    up_w: float
    down_w: float
    per_k: float
    first_k: float


def laminar_film(length_m: float) -> LaminarFilm:
    """Return the coefficients of a plate whose flow is laminar on both faces."""
    first_k, last_k = FILM_K
    up_w, down_w, later_w = (
        plate_w_m2_k(film_k + 0.5, film_k - 0.5, length_m, faces_up)
        for film_k, faces_up in ((first_k, True), (first_k, False), (last_k, True))
    )
    return LaminarFilm(up_w, down_w, (later_w / up_w - 1) / (last_k - first_k), first_k)


def largest_laminar_m() -> float:
    """Return the length (area over perimeter) up to which a face at 220 degC stays laminar."""
    surface_k, air_k = 493.0, 296.0
    air = air_at((surface_k + air_k) / 2)
    return (UP_LAMINAR[2] / rayleigh(surface_k, air_k, 1.0, air)) ** (1 / 3)


def _sutherland(kelvin: float, at_zero: float, constant_k: float) -> float:
    return at_zero * (kelvin / 273.15) ** 1.5 * (273.15 + constant_k) / (kelvin + constant_k)
