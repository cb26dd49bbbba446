"""Grey exchange between emitters, board and housing against textbooks and the second law."""

from dataclasses import replace

import numpy as np
import pytest

from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_parameters import DEFAULT_PARTS, GridBench, GridBoard
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import ZERO_C_K, BoardParameters
from emberbed_sim.plant.view_factors import cell_view_factors
from tests.support.grid_benches import (
    gains_w,
    held_at,
    plate,
    run,
    set_emitters_c,
    sheet_board,
)

SIGMA = 5.670374419e-8  # CODATA 2018


def facing_plates(
    side_mm: tuple[float, float], gap_mm: float, emissivities: tuple[float, float], room_k: float
) -> GridPlant:
    """An emitter and a board of one cell, equal, of which only the facing sides radiate."""
    board = sheet_board(*side_mm, (1, 1), emissivities[1], top_emissivity=0.0)
    emitter = GridEmitter(plate(emissivities[0]), 1.0, length_mm=side_mm[0], width_mm=side_mm[1])
    return GridPlant(GridBench(board, (emitter,), gap_mm, held_at(room_k - ZERO_C_K)))


def emitter_gain_w(plant: GridPlant, emitter_k: float, board_k: float) -> float:
    set_emitters_c(plant, emitter_k - ZERO_C_K)
    plant.set_board_c(board_k - ZERO_C_K)
    return float(gains_w(plant)[plant.layout.sources][0])


# Infinite parallel grey plates, q = sigma (T1^4 - T2^4) / (1/e1 + 1/e2 - 1); the first is Cengel's
# worked example 13-7, printed 3625 W/m2, the others are computed from the same formula.
@pytest.mark.parametrize(
    ("hot_k", "cold_k", "emissivities", "flux_w_m2"),
    [
        (800, 500, (0.2, 0.7), 3625.6),
        (800, 500, (0.8, 0.8), 13121.2),
        (1000, 500, (0.9, 0.9), 43494.3),
        (700, 450, (0.9, 0.9), 9236.7),
    ],
)
def test_infinite_grey_plates(
    hot_k: float, cold_k: float, emissivities: tuple[float, float], flux_w_m2: float
) -> None:
    plant = facing_plates((1e5, 1e5), 0.1, emissivities, 300.0)
    gain = emitter_gain_w(plant, hot_k, cold_k)
    board = gains_w(plant)[plant.layout.bottom][0]
    assert -gain / 1e4 == pytest.approx(flux_w_m2, rel=1e-4)
    assert board == pytest.approx(-gain, rel=1e-4)


def test_black_plates_of_half_a_square_metre() -> None:
    # Holman 8-2: 0.5 x 1.0 m, 0.5 m apart, 1000 and 500 degC: 18.33 kW with F = 0.285, whole kelvin
    # and the sigma of its day; 18 399 W with all digits. The room's share is the same in both.
    plant = facing_plates((1000, 500), 500, (1.0, 1.0), 300.0)
    hot_w = emitter_gain_w(plant, 1273.15, 773.15)
    board_w = gains_w(plant)[plant.layout.bottom][0]
    even_w = emitter_gain_w(plant, 773.15, 773.15)
    even_board_w = gains_w(plant)[plant.layout.bottom][0]
    assert board_w - even_board_w == pytest.approx(18_399, rel=1e-4)
    assert even_w - hot_w > 18_399  # the emitter feeds the room as well


def test_a_floating_plate_reradiates() -> None:
    # Holman 8-7: 0.5 x 0.5 m, 0.6 and 1000 K, facing an insulated equal plate 0.5 m away in a room
    # at 300 K: 8229 W and 599.4 K with F12 = 0.2
    plant = facing_plates((500, 500), 500, (0.6, 0.8), 300.0)
    set_emitters_c(plant, 1000 - ZERO_C_K)
    run(plant, 1200)
    floating_k = plant.state[0, plant.layout.bottom][0]
    assert abs(gains_w(plant)[plant.layout.bottom][0]) < 0.05
    assert floating_k == pytest.approx(599.4, abs=0.3)
    assert -gains_w(plant)[plant.layout.sources][0] == pytest.approx(8229, rel=1e-3)


def test_reflected_heat_is_not_lost() -> None:
    # theory: between a mirror of an emitter and an endless board all the board's heat returns
    plant = facing_plates((1e5, 1e5), 0.1, (0.0, 0.5), 300.0)
    emitter_gain_w(plant, 1000, 600)
    flux_w_m2 = gains_w(plant)[plant.layout.bottom][0] / 1e4
    assert abs(flux_w_m2) < 1e-4 * SIGMA * 600**4


def three_emitters() -> tuple[GridEmitter, ...]:
    return (
        GridEmitter("ceramic", 400.0, -60.0, 0.0, 60.0, 150.0, zone=0),
        GridEmitter("halogen", 400.0, 10.0, 0.0, 40.0, 150.0, zone=1),
        GridEmitter("quartz", 400.0, 70.0, 10.0, 50.0, 120.0, zone=2),
    )


def test_an_isothermal_enclosure_exchanges_nothing() -> None:
    # second law, Kirchhoff's law: equal temperatures stay equal whatever the surfaces
    board = GridBoard(BoardParameters(), parts=DEFAULT_PARTS)
    plant = GridPlant(GridBench(board, three_emitters(), 40.0, held_at(150.0)))
    assert np.abs(gains_w(plant, np.zeros(3), fan=1.0)).max() < 1e-10
    run(plant, 60, np.zeros(3))
    assert plant.state[0, : plant.layout.nodes] == pytest.approx(423.15, abs=1e-9)


def test_a_cold_board_goes_to_the_temperature_of_its_enclosure() -> None:
    # Kirchhoff's law and the second law: the end is 150 degC everywhere and exactly that
    board = GridBoard(BoardParameters(100, 90, 60), parts=DEFAULT_PARTS[:1], cells=(6, 4))
    quick = tuple(replace(emitter, heat_factor=0.1) for emitter in three_emitters()[::2])
    quick = (quick[0], replace(quick[1], zone=1))
    plant = GridPlant(GridBench(board, quick, 40.0, held_at(150.0)))
    plant.set_board_c(20.0)
    set_emitters_c(plant, 300.0)
    run(plant, 1500, np.zeros(2), fan=1.0)
    assert plant.state[0, : plant.layout.nodes] == pytest.approx(423.15, abs=0.05)
    run(plant, 1500, np.zeros(2), fan=1.0)
    assert plant.state[0, : plant.layout.nodes] == pytest.approx(423.15, abs=1e-5)


def test_exchange_is_reciprocal() -> None:
    # theory: what 1 K4 more at a source brings to a cell, the cell's brings to the source
    board = GridBoard(BoardParameters(), cells=(6, 4))
    plant = GridPlant(GridBench(board, three_emitters(), 40.0, held_at(20.0)))
    at_rest = gains_w(plant, np.zeros(3))
    below = range(plant.layout.bottom.start, plant.layout.housing + 1)
    pairs = np.empty((len(below), len(below)))
    for row, node in enumerate(below):
        before_k = plant.state[0, node]
        plant.state[0, node] = (before_k**4 + 1e9) ** 0.25
        warmed = gains_w(plant, np.zeros(3)) - at_rest
        pairs[row] = warmed[list(below)]  # between cells and sources there is nothing but light
        plant.state[0, node] = before_k
    sources = slice(plant.layout.cells, -1)
    cells = slice(0, plant.layout.cells)
    assert pairs[sources, cells] == pytest.approx(pairs[cells, sources].T, rel=1e-9)
    assert pairs[sources, cells].min() > 0


@pytest.mark.parametrize("emissivity", [1.0, 0.5])
def test_net_infrared_on_a_black_bead(emissivity: float) -> None:
    # theory: F sigma Te^4 + (1 - F) sigma Th^4 - sigma T^4 at a cell seeing a black emitter by F,
    # whatever the board around the bead absorbs
    middle = (-5.0, 5.0, -5.0, 5.0)
    board = sheet_board(90, 50, (9, 5), emissivity)
    emitter = GridEmitter(plate(1.0), 1.0, 10.0, 5.0, 80.0, 60.0)
    plant = GridPlant(GridBench(board, (emitter,), 40.0, held_at(30.0)))
    set_emitters_c(plant, 500.0)
    plant.set_board_c(90.0)
    seen = cell_view_factors(middle, emitter.extent_mm[:2], emitter.extent_mm[2:], 40.0)[0, 0]
    expected = SIGMA * (seen * 773.15**4 + (1 - seen) * 303.15**4 - 363.15**4) / 1e3
    assert plant.net_ir_kw_m2("under_centre") == pytest.approx(expected, rel=1e-9)


def test_net_infrared_at_the_underside() -> None:
    # theory: a black spot under a wide black emitter takes up sigma (Te^4 - T^4)
    plant = facing_plates((1e5, 1e5), 0.1, (1.0, 1.0), 300.0)
    emitter_gain_w(plant, 800, 400)
    flux = plant.net_ir_kw_m2("under_centre")
    assert flux == pytest.approx(SIGMA * (800**4 - 400**4) / 1e3, rel=1e-4)
    # and the upper side only sees its surroundings
    up = plant.net_ir_kw_m2("board_centre")
    assert up == pytest.approx(SIGMA * (300**4 - 400**4) / 1e3, rel=1e-12)
    assert plant.net_ir_kw_m2("emitter") == 0.0
