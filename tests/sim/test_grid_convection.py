"""Natural convection and what a board loses, against textbook examples and the `ht` package."""

import pytest

from emberbed_sim.plant import natural_convection as nc
from emberbed_sim.plant.grid_parameters import GridBoard
from emberbed_sim.plant.parameters import BoardParameters
from tests.support.grid_benches import (
    DENSE,
    board_loss_w,
    gains_w,
    lone_plant,
    sheet_board,
)
from tests.support.parts import need_python_module

CENGEL_AIR = nc.Air(0.02808, 1.896e-5, 0.7202)  # at 60 degC, as the book prints it


def test_cengels_plate() -> None:
    # Cengel 9-2 (FOSSEE 587/CH9/EX9.2): 0.6 m square at 90 degC in air of 30 degC; facing up
    # Ra 1.1952e7, Nu 31.75, h 5.944, facing down 15.88 and 2.972. The book takes the laminar law a
    # little beyond its 1e7, as the plant's step does for all its boards.
    number = nc.rayleigh(363.15, 303.15, 0.15, CENGEL_AIR)
    assert number == pytest.approx(1.1952e7, rel=2e-3)
    assert nc.horizontal_nusselt(number, False) == pytest.approx(15.88, rel=1e-3)
    assert nc.horizontal_nusselt(1e6, True) * (number / 1e6) ** 0.25 == pytest.approx(
        31.75, rel=1e-3
    )
    # with our own air: tables of air differ by 2 to 3 % in its conductivity
    film = nc.laminar_film(0.15)
    up_w = film.up_w * 60**0.25 * (1 + film.per_k * (333.15 - film.first_k))
    assert up_w == pytest.approx(5.944, rel=0.03)
    assert nc.plate_w_m2_k(363.15, 303.15, 0.15, False) == pytest.approx(2.972, rel=0.03)
    assert nc.plate_w_m2_k(303.15, 363.15, 0.15, True) == pytest.approx(2.972, rel=0.03)


def test_air_has_the_properties_of_tables() -> None:
    # Cengel table A-15 at 60 degC as above; CoolProp at 100 degC: k 0.0316 W/m K
    air = nc.air_at(333.15)
    assert air.viscosity_m2_s == pytest.approx(1.896e-5, rel=0.01)
    assert air.prandtl == pytest.approx(0.7202, rel=0.03)
    assert nc.air_at(373.15).conductivity_w_m_k == pytest.approx(0.0316, rel=0.01)
    assert nc.air_at(333.15, 84_500).viscosity_m2_s > air.viscosity_m2_s  # thinner air at height


@pytest.mark.parametrize("number", [1e4, 3e5, 5e6, 9.9e6, 1.1e7, 2e8])
@pytest.mark.parametrize("rises", [True, False])
def test_nusselt_numbers_are_those_of_the_ht_package(number: float, rises: bool) -> None:
    # ht 1.2.0, McAdams 1954
    need_python_module("ht", "the package `ht` holds the reference correlations")
    import ht

    reference = ht.Nu_free_horizontal_plate(0.7, number / 0.7, rises, Method="McAdams")
    assert nc.horizontal_nusselt(number, rises) == pytest.approx(reference, rel=1e-6)


@pytest.mark.parametrize("surface_c", [40.0, 90.0, 150.0, 220.0])
def test_the_plants_faces_follow_the_ht_package(surface_c: float) -> None:
    # ht 1.2.0, McAdams 1954, with the same air: what a board without radiation loses
    need_python_module("ht", "the package `ht` holds the reference correlations")
    import ht

    plant = lone_plant(sheet_board(convection=1.0), 23.0)
    length_m, area_m2 = 0.0216 / 0.6, 0.0216
    surface_k, air_k = surface_c + 273.15, 296.15
    air = nc.air_at((surface_k + air_k) / 2)
    grashof = nc.rayleigh(surface_k, air_k, length_m, air) / air.prandtl
    both = sum(
        ht.Nu_free_horizontal_plate(air.prandtl, grashof, rises, Method="McAdams")
        for rises in (True, False)
    )
    reference_w = both * air.conductivity_w_m_k / length_m * area_m2 * (surface_c - 23.0)
    # 0.5 %: the step takes the air's properties as linear in the film temperature
    assert board_loss_w(plant, surface_c) == pytest.approx(reference_w, rel=5e-3)


def test_a_cold_board_gains_the_other_way_round() -> None:
    # symmetry of the correlations: a cold face down is a hot face up
    warm, cold = (lone_plant(sheet_board(convection=1.0), room_c) for room_c in (20.0, 80.0))
    lost_w, gained_w = board_loss_w(warm, 80.0), -board_loss_w(cold, 20.0)
    assert gained_w == pytest.approx(lost_w, rel=1e-9)
    top, bottom = warm.layout.top, warm.layout.bottom
    up_w, down_w = (gains_w(warm)[face].sum() for face in (top, bottom))
    assert up_w / down_w == pytest.approx(0.54 / 0.27)
    assert gains_w(cold)[bottom].sum() == pytest.approx(-up_w, rel=1e-9)
    assert gains_w(cold)[top].sum() == pytest.approx(-down_w, rel=1e-9)


def test_each_face_feels_the_air_of_its_own_side() -> None:
    # locality of convection: what happens below does not change what the upper face loses
    plant = lone_plant(sheet_board(emissivity=0.9, convection=1.0), 23.0)
    plant.set_board_c(100.0)
    even = gains_w(plant, fan=0.3)
    plant.state[0, plant.layout.housing] += 57.0
    warmed = gains_w(plant, fan=0.3)
    top, bottom = plant.layout.top, plant.layout.bottom
    assert warmed[top] == pytest.approx(even[top], rel=1e-12)
    hotter = lone_plant(sheet_board(emissivity=0.9, convection=1.0), 80.0)
    hotter.set_board_c(100.0)
    assert warmed[bottom] == pytest.approx(gains_w(hotter, fan=0.3)[bottom], rel=1e-12)


# Bare square board in 25 degC air, emissivity 0.9: (side m, degC, loss of both faces W). Computed
# apart from this code from McAdams' correlations, L = A / P, air properties and radiation.
@pytest.mark.parametrize(
    ("side_m", "board_c", "table_w"),
    [
        (0.2, 100, 84.8),
        (0.2, 150, 168.9),
        (0.2, 200, 277.4),
        (0.3, 150, 364.9),
        (0.1, 150, 45.6),
    ],
)
def test_loss_of_a_board_at_temperature(side_m: float, board_c: float, table_w: float) -> None:
    board = sheet_board(side_m * 1e3, side_m * 1e3, (12, 12), 0.9, 1.0)
    assert board_loss_w(lone_plant(board, 25.0), board_c) == pytest.approx(table_w, rel=0.01)


def test_the_rim_adds_what_its_conductance_says() -> None:
    # Newton's law: 15 W/m2K on 1.6 mm around 0.6 m; half a cell of laminate in series is small
    plain = board_loss_w(lone_plant(sheet_board(), 25.0), 125.0)
    rimmed = lone_plant(sheet_board(rim_w_m_k=(0.024,) * 4), 25.0)  # type: ignore[arg-type]
    assert plain == pytest.approx(0.0, abs=1e-6)
    assert board_loss_w(rimmed, 125.0) == pytest.approx(0.024 * 0.6 * 100, rel=0.01)


def test_turbulent_boards_are_refused() -> None:
    # Ra 1e7 is McAdams' limit
    with pytest.raises(ValueError, match="turbulent"):
        GridBoard(BoardParameters(20_000, 900, 900), DENSE)
    assert nc.largest_laminar_m() > 0.1  # 0.4 x 0.4 m
