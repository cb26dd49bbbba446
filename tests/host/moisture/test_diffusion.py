"""The slab against published numbers and an independent solution of the same equation."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from emberbed.moisture.bake import bake_time
from emberbed.moisture.diffusion import SPREAD, diffusivity_m2_s, dryness, stays
from emberbed.moisture.profile_heat import heating_of
from emberbed.profiles.reader import read_profile


def test_half_is_gone_at_the_published_time():
    # D t / L^2 = 0.049 for half (Crank, The Mathematics of Diffusion, equation 10.5); from memory
    assert stays(0.04919) == pytest.approx(0.5, abs=1e-4)


def test_short_times_go_with_the_square_root():
    # 1 - 4 sqrt(D t / (pi L^2)), Crank equation 4.20's first term; from memory
    for fourier in (1e-6, 1e-4, 1e-3):
        assert 1 - stays(fourier) == pytest.approx(4 * np.sqrt(fourier / np.pi), rel=1e-3)


@pytest.mark.parametrize(
    ("thickness_m", "left", "hours"), [(1.4e-3, 0.1, 11.58), (2e-3, 0.1, 23.6), (2e-3, 0.05, 31.5)]
)
def test_one_term_of_the_series_by_hand(thickness_m, left, hours):
    # t = L^2 / (pi^2 D) ln(8 / (pi^2 f)) with D = 9.97e-12 m2/s, computed
    fourier = 9.97e-12 * hours * 3600 / thickness_m**2
    assert stays(fourier) == pytest.approx(left, rel=0.005)


def solved(fourier: float, cells: int = 200) -> float:
    """Solve du/dt = d2u/dx2 in a sheet with dry faces by the method of lines, with scipy."""
    dx = 1 / cells

    def rates(_t, u):
        padded = np.concatenate(([-u[0]], u, [-u[-1]]))  # zero at the faces themselves
        return (padded[2:] - 2 * u + padded[:-2]) / dx**2

    done = solve_ivp(rates, (0, fourier), np.ones(cells), method="LSODA", rtol=1e-8, atol=1e-10)
    return float(done.y[:, -1].mean())


@pytest.mark.parametrize("fourier", [0.002, 0.02, 0.1, 0.4])
def test_the_series_is_the_solution(fourier):
    assert stays(fourier) == pytest.approx(solved(fourier), abs=1e-3)


def test_edges():
    assert stays(0) == 1.0 and stays(1e-12) == 1.0
    assert stays(50) < 1e-12
    falling = [stays(f) for f in np.geomspace(1e-8, 2, 60)]
    assert all(a >= b for a, b in zip(falling, falling[1:], strict=False))


def test_the_diffusivity_is_the_published_one():
    # 3.8e-13 m2/s at 20 degC and 3.6e-12 at 85 degC: repository.tudelft.nl uuid 40be966e
    assert diffusivity_m2_s(20) == pytest.approx(3.8e-13, rel=0.01)
    assert diffusivity_m2_s(85) == pytest.approx(3.6e-12, rel=0.01)


@pytest.mark.parametrize("level", ["3", "4", "5"])
@pytest.mark.parametrize("thickness_mm", [1.4, 2.0])
def test_the_bake_table_lies_within_the_uncertainty(thickness_mm, level):
    """Time over time at 125 degC is diffusivity over diffusivity: J-STD-033 table 4-1."""
    at_125 = bake_time(level, thickness_mm, 125, True).hours
    for oven_c in (90, 40):
        longer = bake_time(level, thickness_mm, oven_c, True).hours / at_125
        implied = diffusivity_m2_s(125) / longer
        assert 1 / SPREAD < implied / diffusivity_m2_s(oven_c) < SPREAD
    dried = dryness([(125, at_125 * 3600)], thickness_mm, faces=2)
    assert dried.stays < 0.2 < dried.stays_most


def test_the_band_is_a_factor_of_the_diffusivity():
    found = dryness([(90, 3600)], 1.4, faces=2)
    fourier = diffusivity_m2_s(90) * 3600 / 1.4e-3**2
    assert found.stays_most == stays(fourier / SPREAD)
    assert found.stays_least == stays(fourier * SPREAD)
    assert found.stays_least < found.stays < found.stays_most


def test_a_soldered_part_dries_as_one_of_twice_its_thickness():
    assert dryness([(90, 3600)], 1.0, 1).stays == dryness([(90, 3600)], 2.0, 2).stays


def test_minutes_on_a_preheater_are_no_bake():
    """The dry-out of a shipped profile leaves nearly all of the water in a thick package."""
    heating = heating_of(read_profile("label-printer").model)
    # by hand: ramps of 112 K at 0.3 K/s, 180 + 120 + 120 s, 240 s of hot air
    assert sum(seconds for _c, seconds in heating) == pytest.approx(115 / 0.3 + 660, rel=0.01)
    assert dryness(heating, 2.2).stays > 0.9
