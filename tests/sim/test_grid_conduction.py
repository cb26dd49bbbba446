"""Conduction in the board's plane and through it against exact solutions, with the grid's order."""

from math import erf, exp, log2, pi, sin

import numpy as np
import pytest
from scipy.optimize import brentq

from emberbed_sim.plant.grid_board import board_cells, sheet_of
from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_parameters import GridBench, Stackup
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import ZERO_C_K
from tests.support.grid_benches import (
    DENSE,
    NO_RIM,
    gains_w,
    held_at,
    lone_plant,
    plate,
    run,
    set_emitters_c,
    sheet_board,
    top_c,
)

SHEET = sheet_of(DENSE, 0.5)
K_W_M_K = float(SHEET.in_plane_w_m_k)
THICK_M = 1.6e-3
DIFFUSIVITY = K_W_M_K * THICK_M / float(SHEET.areal_heat_j_m2_k)


# 1.6 mm FR-4 of 0.8 W/m K: in-plane conductivity, kg/m2, J/m2K by the parallel rule, volume weights
# (handbook densities and specific heats; the rows were computed apart from this code)
@pytest.mark.parametrize(
    ("layers", "coverage", "k", "mass", "heat"),
    [
        (0, 0.5, 0.8, 2.96, 3256),
        (2, 0.5, 9.3, 3.21, 3306),
        (4, 0.5, 17.8, 3.46, 3355),
        (8, 0.7, 48.5, 4.35, 3533),
    ],
)
def test_composite_board(layers: int, coverage: float, k: float, mass: float, heat: float) -> None:
    sheet = sheet_of(Stackup(layers, 35.0, coverage), 0.3)
    assert sheet.in_plane_w_m_k == pytest.approx(k, abs=0.06)
    assert sheet.areal_mass_kg_m2 == pytest.approx(mass, abs=0.006)
    assert sheet.areal_heat_j_m2_k == pytest.approx(heat, abs=1)
    assert sheet.through_w_m2_k == pytest.approx(0.3 / (1.6e-3 - layers * 35e-6 * coverage))


def wall_share(biot: float, fourier: float, depth: np.ndarray) -> np.ndarray:
    """Return (T - Tair) / (Ti - Tair) of a plane wall by the full series; depth 0 (middle) .. 1."""
    total = np.zeros_like(depth)
    for branch in range(12):
        low, high = branch * pi + 1e-9, branch * pi + pi / 2 - 1e-9
        zeta = float(brentq(lambda z: z * np.tan(z) - biot, low, high))  # pyright: ignore
        coefficient = 4 * sin(zeta) / (2 * zeta + sin(2 * zeta))
        total += coefficient * exp(-(zeta**2) * fourier) * np.cos(zeta * depth)
    return total


def wall(columns: int, biot: float, fourier: float, half_mm: float = 90.0) -> np.ndarray:
    """Return the board's share of its first temperature difference as a plane wall, per column."""
    half_m = half_mm * 1e-3
    rim = biot * K_W_M_K / half_m * THICK_M
    board = sheet_board(2 * half_mm, 30.0, (columns, 1), rim_w_m_k=(rim, rim, 0.0, 0.0))
    plant = lone_plant(board, 20.0)
    plant.set_board_c(120.0)
    run(plant, fourier * half_m**2 / DIFFUSIVITY)
    return (top_c(plant)[0] - 20.0) / 100.0


def middles(columns: int) -> np.ndarray:
    return np.abs((np.arange(columns) + 0.5) / columns * 2 - 1)


# Plane wall, one term: zeta tan zeta = Bi (Incropera table 5.1, Cengel table 4-2)
@pytest.mark.parametrize(
    ("biot", "zeta", "c1"),
    [(0.1, 0.3111, 1.0161), (1, 0.8603, 1.1191), (5, 1.3138, 1.2402), (100, 1.5552, 1.2731)],
)
def test_plane_wall_follows_the_one_term_table(biot: float, zeta: float, c1: float) -> None:
    fourier = 60 / (0.09**2 / DIFFUSIVITY)  # a whole number of ticks
    fourier *= round(0.65 / fourier)
    table = c1 * exp(-(zeta**2) * fourier) * np.cos(zeta * middles(24))
    assert wall(24, biot, fourier) == pytest.approx(table, abs=0.002)


def test_cengels_brass_plate() -> None:
    # Cengel 4-3: 40 mm, k 110, alpha 33.9e-6, h 120, 20 degC into a 500 degC oven, 7 min; exact
    # one-term answer 277.2 degC in the middle, 279.6 at the surface. Scaled by Biot and Fourier.
    biot, fourier = 120 * 0.02 / 110, 33.9e-6 * 420 / 0.02**2
    share = wall(12, biot, fourier, half_mm=30.0)
    surface = 1.5 * share[-1] - 0.5 * share[-2]  # half a cell further out
    assert 500 - 480 * share[6] == pytest.approx(277.2, abs=0.15)
    assert 500 - 480 * surface == pytest.approx(279.6, abs=0.15)


def observed_orders(errors: list[float]) -> list[float]:
    return [log2(one / other) for one, other in zip(errors, errors[1:], strict=False)]


def test_plane_wall_converges_at_second_order() -> None:
    # central differences on a uniform grid are of second order: theory
    fourier = 30 * DIFFUSIVITY / 0.09**2
    errors = [
        float(np.abs(wall(n, 2.0, fourier) - wall_share(2.0, fourier, middles(n))).max())
        for n in (12, 24, 48)
    ]
    assert observed_orders(errors) == pytest.approx([2.0, 2.0], abs=0.25)
    assert errors[-1] < 3e-4


def half_space(columns: int, seconds: float) -> np.ndarray:
    """Return (T - Ts) / (Ti - Ts) of a long board whose one end is suddenly held at Ts."""
    board = sheet_board(240.0, 30.0, (columns, 1), rim_w_m_k=(1e9, 0.0, 0.0, 0.0))
    plant = lone_plant(board, -15.0)
    plant.set_board_c(20.0)
    run(plant, seconds)
    return (top_c(plant)[0] + 15.0) / 35.0


def test_semi_infinite_body_converges_at_second_order() -> None:
    # (T - Ts) / (Ti - Ts) = erf(x / 2 sqrt(alpha t)), Incropera eq. 5.60; exact, and long before
    # the far end matters
    errors = []
    for columns in (20, 40, 80):
        x_m = (np.arange(columns) + 0.5) * 0.24 / columns
        exact = [erf(x / (2 * (DIFFUSIVITY * 60.0) ** 0.5)) for x in x_m]
        errors.append(float(np.abs(half_space(columns, 60.0) - exact).max()))
    assert observed_orders(errors) == pytest.approx([2.0, 2.0], abs=0.25)
    assert errors[-1] < 1e-3


# Soil of Incropera's ch. 5 (alpha 0.138e-6, 20 degC, surface -15 degC, 60 days: 0 degC at 0.677 m,
# printed 0.68) and of Cengel 4-6 (0.15e-6, 15, -10, 90 days: 0.80 m): the same share, scaled.
@pytest.mark.parametrize(
    ("alpha", "start_c", "surface_c", "days", "depth_m"),
    [(0.138e-6, 20, -15, 60, 0.677), (0.15e-6, 15, -10, 90, 0.80)],
)
def test_frost_reaches_its_published_depth(
    alpha: float, start_c: float, surface_c: float, days: float, depth_m: float
) -> None:
    seconds, columns = 60.0, 80
    share = half_space(columns, seconds)
    x_m = (np.arange(columns) + 0.5) * 0.24 / columns
    frost_m = np.interp(-surface_c / (start_c - surface_c), share, x_m)
    scale = (alpha * days * 86400 / (DIFFUSIVITY * seconds)) ** 0.5
    assert frost_m * scale == pytest.approx(depth_m, abs=0.006)


def cosine_left(cells: tuple[int, int]) -> float:
    """Return what is left of cos(pi x / L) cos(pi y / W) on a board that keeps its heat."""
    plant = lone_plant(sheet_board(cells=cells), 0.0)
    x, y = ((np.arange(n) + 0.5) / n * pi for n in cells)
    hill_c = 50 * np.outer(np.cos(y), np.cos(x))
    for face in (plant.layout.top, plant.layout.bottom):
        plant.state[0, face] = hill_c.ravel() + ZERO_C_K
    run(plant, 40.0)
    return float(top_c(plant)[0, 0] / hill_c[0, 0])


def test_a_hill_in_two_dimensions_decays_at_its_rate_and_the_grids_order() -> None:
    # separation of variables (Carslaw & Jaeger): exp(-alpha pi^2 (1/L^2 + 1/W^2) t)
    exact = exp(-DIFFUSIVITY * pi**2 * (1 / 0.18**2 + 1 / 0.12**2) * 40.0)
    errors = [abs(cosine_left(cells) - exact) for cells in ((6, 4), (12, 8), (24, 16))]
    assert observed_orders(errors) == pytest.approx([2.0, 2.0], abs=0.1)
    assert errors[-1] < 1e-3


def test_copper_where_it_is_carries_the_heat() -> None:
    # Fourier's law: through two halves in series the same flow falls by their resistances
    coverage = ((0.8,) * 6 + (0.1,) * 6,) * 2
    board = sheet_board(
        cells=(12, 2), rim_w_m_k=(1e9, 1e9, 0.0, 0.0), stackup=Stackup(4, 35.0, coverage)
    )
    cells = board_cells(board)
    along = cells.along_w_k[:11]
    k_of = sheet_of(Stackup(4, 35.0, (0.8, 0.1)), 0.5).in_plane_w_m_k  # type: ignore[arg-type]
    assert along[0] / along[-1] == pytest.approx(k_of[0] / k_of[1])
    assert 2 / along[5] == pytest.approx(1 / along[0] + 1 / along[-1])
    assert board.rim_w_m_k != NO_RIM


def test_steady_flow_through_the_board() -> None:
    # Fourier's law: from a hot emitter to a cold room, dT = q t / k
    board = sheet_board(1e4, 1e4, (1, 1), 0.9)
    emitter = GridEmitter(plate(0.9), 1.0, length_mm=1e4, width_mm=1e4)
    plant = GridPlant(GridBench(board, (emitter,), 0.1, held_at(20.0)))
    set_emitters_c(plant, 400.0)
    run(plant, 1000)
    (top,), (bottom,) = (face[0] for face in plant.map_c())
    flux_w_m2 = -gains_w(plant)[plant.layout.sources][0] / 100.0
    assert flux_w_m2 > 1000
    assert bottom - top == pytest.approx(flux_w_m2 / float(SHEET.through_w_m2_k), rel=1e-3)


def test_a_ramp_heated_from_below_shows_half_of_that() -> None:
    # quasi-steady heating of one face, the other insulated: dT = q t / 2k (Carslaw & Jaeger 3.8)
    board = sheet_board(1e4, 1e4, (1, 1), 0.9, top_emissivity=0.0)
    emitter = GridEmitter(plate(0.9), 1.0, length_mm=1e4, width_mm=1e4)
    plant = GridPlant(GridBench(board, (emitter,), 0.1, held_at(20.0)))
    set_emitters_c(plant, 400.0)
    run(plant, 30)
    (top,), (bottom,) = (face[0] for face in plant.map_c())
    flux_w_m2 = -gains_w(plant)[plant.layout.sources][0] / 100.0
    assert bottom - top == pytest.approx(flux_w_m2 / float(SHEET.through_w_m2_k) / 2, rel=0.02)
