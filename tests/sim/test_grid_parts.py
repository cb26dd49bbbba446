"""Parts, places and sizes of the grid plant, and benches that cannot be."""

from dataclasses import replace

import numpy as np
import pytest

from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_parameters import (
    DEFAULT_PARTS,
    DraughtShape,
    GridBench,
    GridBoard,
    MountedPart,
    Place,
    Stackup,
)
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import (
    ZERO_C_K,
    BoardParameters,
    SensorPlacement,
)
from emberbed_sim.plant.thermocouple import Thermocouple
from tests.support.grid_benches import SMALL, lone_plant, run, sheet_board


def test_parts_cover_the_board_and_follow_it_late() -> None:
    # areas: 40 x 30 mm and 27 x 27 mm out of 180 x 120 mm; a chip lags a ramp by slope x C / G
    plant = GridPlant(GridBench())
    emissive_m2 = plant._blocks[0][1].couplings.direct_w_k4[plant.layout.top] / 5.670374419e-8
    assert emissive_m2.sum() / 0.9 == pytest.approx(0.0216 - 0.0012 - 0.027**2, rel=1e-9)
    insulated = MountedPart("slug", 30, 30, 10.0, 200.0, emissivity=0.0)
    board = sheet_board(cells=(12, 8))
    board = replace(
        board, scale=replace(board.scale, mass_g=board.scale.mass_g + 10), parts=(insulated,)
    )
    plant = lone_plant(board, 23.0)
    cells_w = np.zeros(plant.layout.size)
    slope_k_s = 0.5
    for _ in range(3000):  # a ramp of the whole board, the slug follows by contact alone
        cells_w = plant.state[0, plant.layout.top] + 0.1 * slope_k_s
        plant.step(0.0)
        plant.state[0, plant.layout.top] = plant.state[0, plant.layout.bottom] = cells_w
    lag_k = plant.place_k("board_centre") - plant.place_k("slug_top")
    assert lag_k == pytest.approx(slope_k_s * 7.0 / (200 * 0.0009), abs=0.2)  # 7 J/K over 0.18 W/K


def test_a_metal_shield_stays_cooler_than_the_chip_beside() -> None:
    # contact of a rim and air against solder balls
    plant = GridPlant(GridBench())
    run(plant, 200, 600.0)
    assert plant.place_k("shield_top") < plant.place_k("chip_top") < plant.place_k("board_centre")


def test_thermocouples_read_places_as_they_are() -> None:
    # stray radiation is K per kW/m2 of what the plant says arrives; contact 0 hangs in the air
    plant = GridPlant(GridBench(places=(Place("under_chip", 3.0, 2.0, "bottom"),)))
    beads = [
        Thermocouple(SensorPlacement("plain", lag_s=0.5), 23.0),
        Thermocouple(SensorPlacement("seen", lag_s=0.5, stray_ir=0.5), 23.0),
        Thermocouple(SensorPlacement("loose", lag_s=0.5, contact=0.0), 23.0),
    ]
    for _ in range(1500):
        plant.step(600.0)
        place_c = plant.place_k("under_chip") - ZERO_C_K
        air_c = plant.air_k("under_chip") - ZERO_C_K
        for bead in beads:
            bead.step(place_c, air_c, plant.net_ir_kw_m2("under_chip"))
    plain, seen, loose = (bead.bead_c for bead in beads)
    assert plain == pytest.approx(plant.place_k("under_chip") - ZERO_C_K, abs=0.5)
    flux = plant.net_ir_kw_m2("under_chip")
    assert 2 < flux < 15
    assert seen - plain == pytest.approx(0.5 * flux, rel=0.02)
    assert loose == pytest.approx(plant.surroundings_k - ZERO_C_K, abs=0.2)


def test_maps_and_places_show_the_same_board() -> None:
    plant = GridPlant(GridBench(places=(Place("first_cell", -90 + 3.75, -60 + 5.0),)))
    run(plant, 100, 600.0)
    top, bottom = plant.map_c()
    assert top.shape == bottom.shape == (12, 24)
    assert plant.place_k("first_cell") - ZERO_C_K == pytest.approx(top[0, 0])
    assert plant.place_k("under_centre") - ZERO_C_K == pytest.approx(
        bottom[5:7, 11:13].mean(), abs=1e-9
    )
    assert bottom.mean() > top.mean()
    assert GridPlant([GridBench(SMALL)] * 2).map_c()[1].shape == (2, 4, 8)


def test_components_weigh_on_top_or_below() -> None:
    # the heat capacity is the lumped board's whatever the split; parts are inside the weight
    board = GridBoard(parts=DEFAULT_PARTS, stackup=Stackup())
    plant = GridPlant(GridBench(board))
    found = plant.heat_j_k[0, : plant.layout.bottom.stop].sum()
    assert found == pytest.approx(BoardParameters().heat_capacity_j_k, rel=0.01)
    layout = plant.layout
    assert plant.heat_j_k[0, layout.top].sum() > plant.heat_j_k[0, layout.bottom].sum()


def test_the_finest_grid_that_is_taken_is_stable() -> None:
    # Heun's rule is stable up to 2 / step for a real rate: a pattern of the shortest waves dies out
    def bench(columns: int) -> GridBench:
        return GridBench(sheet_board(cells=(columns, 1)))

    columns = 40
    while True:
        try:
            GridPlant(bench(columns + 1))
        except ValueError as refused:
            assert "larger cells" in str(refused)
            break
        columns += 1
    plant = GridPlant(bench(columns))
    waves = 10.0 * (-1.0) ** np.arange(columns)
    for face in (plant.layout.top, plant.layout.bottom):
        plant.state[0, face] += waves
    run(plant, 60)
    assert np.abs(np.diff(plant.map_c()[0])).max() < 0.01  # neighbours agree again
    assert columns > 75  # and no needless refusal: 4 alpha / dx^2 = 2 / step at 85


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (lambda: GridBoard(parts=(MountedPart("brick", 20, 20, 900, 50),)), "weigh more than"),
        (lambda: GridBoard(parts=(MountedPart("chip", 27, 27, 5, 180, 85),)), "the board's rim"),
        (lambda: GridBoard(parts=(*DEFAULT_PARTS, DEFAULT_PARTS[0])), "'chip'"),
        (lambda: GridBoard(parts=(*DEFAULT_PARTS, MountedPart("can", 9, 9, 1, 90))), "overlap"),
        (lambda: GridBoard(cells=(0, 4)), "cells is \\(0, 4\\)"),
        (lambda: GridBoard(top_emissivity=1.4), "top_emissivity is 1.4"),
        (lambda: GridBench(gap_mm=0.0), "gap_mm is 0.0"),
        (lambda: GridBench(places=(Place("off", 95.0, 0.0),)), "'off' at \\(95, 0\\) mm is not on"),
        (lambda: Place("x", 0, 0, "side"), "face is 'side'; give top or bottom"),
        (lambda: DraughtShape(side="north"), "side is 'north'"),
        (lambda: GridPlant([]), "holds no bench"),
        (lambda: GridPlant([GridBench(), GridBench(SMALL)]), "differ in cells"),
        (lambda: GridPlant(GridBench(places=(Place("chip_top", 0, 0),))), "'chip_top' exists"),
        (lambda: GridPlant(GridBench(places=(Place("board_edge", 0, 0),))), "called 'board_edge'"),
        (
            lambda: GridPlant([GridBench(), GridBench(places=(Place("mine", 0, 0),))]),
            "different places",
        ),
        (lambda: GridPlant(GridBench(GridBoard(cells=(200, 100)))), "too long for a cell"),
        (
            lambda: GridPlant(GridBench(emitters=(GridEmitter(heat_factor=0.001),))),
            "too long for an emitter",
        ),
        (lambda: GridPlant(GridBench()).step((1.0, 2.0)), "2 zones; this bench has 1"),
        (
            lambda: GridPlant(GridBench(GridBoard(BoardParameters(60), Stackup()))),
            "stack-up alone weighs 94 g",
        ),
        (
            lambda: GridPlant(GridBench(GridBoard(stackup=Stackup(coverage=((0.5, 0.6),))))),
            "12 rows of 24 cells",
        ),
        (lambda: GridPlant(GridBench(GridBoard(stackup=Stackup(130)))), "give fewer"),
        (lambda: GridPlant(GridBench(GridBoard(stackup=Stackup(coverage=1.5)))), "outside 0 to 1"),
    ],
)  # fmt: skip
def test_benches_that_cannot_be_are_refused(build, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        build()
