"""The surveyed board as a plate: view factors, losses, conduction."""

import numpy as np
import pytest
from scipy.sparse import diags

from emberbed.survey import plate as plates
from emberbed.survey.plate import CELLS, Plate, Zone, spot_view_factor
from emberbed_sim.plant.view_factors import cell_view_factors

SQUARE_MM = (-100.0, 100.0, -100.0, 100.0)


def seen(zone, x_mm, y_mm, gap_mm):
    return float(spot_view_factor(zone, np.array([x_mm]), np.array([y_mm]), gap_mm)[0])


def test_an_endless_emitter_is_all_that_a_spot_sees():
    # closure: the view factors of an enclosure add up to one
    assert seen(Zone(0, 0, 1e6, 1e6), 3.0, -4.0, 40.0) == pytest.approx(1.0, abs=1e-4)
    assert seen(Zone(5e5, 5e5, 1e6, 1e6), 0.0, 0.0, 40.0) == pytest.approx(0.25, abs=1e-4)
    # a square of half width a at distance a: 0.5541, Howell's catalogue B-3/B-4, computed
    assert seen(Zone(0, 0, 80, 80), 0.0, 0.0, 40.0) == pytest.approx(0.5541, abs=1e-4)


def test_it_agrees_with_the_plants_own_view_factors():
    # reciprocity, A1 F12 = A2 F21, against the double-area integral of sim/plant/view_factors.py
    zone, gap_mm = Zone(20.0, -10.0, 105.0, 70.0), 40.0
    lines = np.linspace(-60, 60, 61)
    shares = cell_view_factors(zone.extent_mm, lines, lines, gap_mm)
    middles = (lines[1:] + lines[:-1]) / 2
    x, y = np.meshgrid(middles, middles)
    expected = spot_view_factor(zone, x, y, gap_mm) * 2.0**2 / (105.0 * 70.0)
    assert shares == pytest.approx(expected, rel=2e-3)


def test_a_board_loses_what_the_table_says(monkeypatch):
    # facts: square of 0.2 m in 25 degC air, both faces, emissivity 0.9, 100/150/200 degC
    monkeypatch.setattr(plates, "AROUND_K", 298.15)
    plate = Plate(SQUARE_MM, [Zone(0, 0, 200, 200)], 40.0, 0.05)
    still_w_m2 = 2 * 0.9 * 5.670374419e-8 * 298.15**4
    for board_c, loss_w in ((100, 84.8), (150, 168.9), (200, 277.4)):
        lost, slope = plate._losses(np.array([board_c + 273.15]))
        assert (lost[0] - still_w_m2) * 0.04 == pytest.approx(loss_w, rel=0.03)
        warmer, _ = plate._losses(np.array([board_c + 273.25]))
        assert slope[0] == pytest.approx((warmer[0] - lost[0]) / 0.1, rel=1e-3)


def test_what_goes_in_comes_out():
    # first law, whatever the board conducts
    for sheet_w_k in (0.0, 0.05, 5.0):
        plate = Plate(SQUARE_MM, [Zone(-40, 0, 60, 150), Zone(50, 20, 60, 60)], 40.0, sheet_w_k)
        kelvin = plate.temperatures_k(np.array([6000.0, 3000.0]))
        lost, _slope = plate._losses(kelvin)
        still = 0.9 * 5.670374419e-8 * plates.AROUND_K**4 * (2 - plate.seen.sum(axis=0))
        gained = 0.9 * (np.array([6000.0, 3000.0]) @ plate.seen) + still
        assert lost.sum() == pytest.approx(gained.sum(), rel=1e-6)
    assert np.ptp(kelvin) < 5 < np.ptp(
        Plate(SQUARE_MM, [Zone(-40, 0, 60, 150)], 40.0, 0.0).temperatures_k(np.array([6000.0]))
    )  # fmt: skip


def test_conduction_is_a_second_difference():
    # -k d2T/dx2 of T = x^2 is -2 k away from the rim; along y nothing moves
    columns, rows = CELLS
    matrix = plates._laplacian(0.05, 10.0, 10.0)
    x_m = (np.arange(columns) * 10e-3) ** 2
    flow = (matrix @ np.tile(x_m, rows)).reshape(rows, columns)
    assert flow[:, 1:-1] == pytest.approx(-2 * 0.05, rel=1e-9)
    assert abs((matrix @ np.ones(columns * rows)).max()) < 1e-9
    assert abs(matrix - matrix.T).max() == 0
    assert (matrix - diags(matrix.diagonal())).max() <= 0


def test_temperatures_between_cells_are_straight_lines():
    plate = Plate((0.0, 240.0, 0.0, 160.0), [Zone(120, 80, 200, 120)], 40.0, 0.05)
    columns, rows = CELLS
    x, y = np.meshgrid(5 + 10 * np.arange(columns), 5 + 10 * np.arange(rows))
    field = (300 + 0.5 * x - 0.25 * y).ravel()
    at_x, at_y = np.array([5.0, 77.0, 120.0, 235.0]), np.array([5.0, 33.0, 80.0, 155.0])
    assert plate.at(field, at_x, at_y) == pytest.approx(300 + 0.5 * at_x - 0.25 * at_y)
