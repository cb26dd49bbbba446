"""Lumped cooling, exact, and the lag of a bead on a ramp, with the plant's own step."""

from math import exp

import pytest

from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_parameters import GridBench, GridSurroundings
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import TICK_S, ZERO_C_K, SensorPlacement
from emberbed_sim.plant.thermocouple import Thermocouple
from tests.support.grid_benches import lone_plant, plate, run, set_emitters_c, sheet_board, top_c

AREA_M2 = 0.0216


def test_radiation_only_cooling_takes_the_exact_time() -> None:
    # Exact solution, Bejan, Heat Transfer Handbook eq. 3.283: 473.15 K to 373.15 K in 298.15 K
    # surroundings, emissivity 0.9, 3200 J/m2K behind each radiating face: 286.706 s.
    plant = lone_plant(sheet_board(emissivity=0.9), 25.0)
    scale = float(plant.heat_j_k[0, : plant.layout.bottom.stop].sum()) / (2 * AREA_M2 * 3200)
    plant.set_board_c(200.0)
    before_k, ticks = 0.0, 0
    while plant.place_k("board_centre") > 373.15:
        before_k = plant.place_k("board_centre")
        plant.step(0.0)
        ticks += 1
    now_k = plant.place_k("board_centre")
    seconds = (ticks - (373.15 - now_k) / (before_k - now_k)) * TICK_S
    assert seconds / scale == pytest.approx(286.706, abs=0.01)
    assert top_c(plant) == pytest.approx(now_k - ZERO_C_K, abs=1e-9)


# Step response of one lump: 1 - exp(-n) after n time constants
@pytest.mark.parametrize(
    ("constants", "fraction"),
    [(1, 0.63212), (2, 0.86466), (3, 0.95021), (4, 0.98168), (5, 0.99326)],
)
def test_lumped_capacity(constants: int, fraction: float) -> None:
    # Newton's law of heating by the fan alone, 20 W/m2K on both faces
    plant = lone_plant(sheet_board(cells=(4, 3)), 120.0)
    plant.set_board_c(20.0)
    board_j_k = float(plant.heat_j_k[0, : plant.layout.bottom.stop].sum())
    seconds = constants * board_j_k / (2 * 20.0 * AREA_M2)
    run(plant, seconds, fan=1.0)
    at = round(seconds / TICK_S) * TICK_S / seconds * constants
    assert (plant.place_k("board_edge") - ZERO_C_K - 20.0) / 100.0 == pytest.approx(
        1 - exp(-at), abs=1e-6
    )
    assert 1 - exp(-at) == pytest.approx(fraction, abs=5e-4)


def test_power_law_convection() -> None:
    # h = C dT^n: theta / theta_i = (1 + n h_i A t / rho V c)^(-1/n); 0.4096 for n = 1/4 and
    # h_i A t / rho V c = 1 (Bejan, Heat Transfer Handbook eq. 3.286). Begun at 1 K so that the air
    # is the same throughout; upper and under face have their own h, so the sum counts.
    plant = lone_plant(sheet_board(convection=1.0, through_w_m_k=2.0, cells=(4, 3)), 25.0)
    board = slice(0, plant.layout.bottom.stop)
    plant.set_board_c(26.0)
    heat_j_k = plant.heat_j_k[0, board]
    first_w = -float((plant.rates(plant.state[0], 0.0)[board] * heat_j_k).sum())
    run(plant, float(heat_j_k.sum()) / first_w)
    mean_k = float((plant.state[0, board] * heat_j_k).sum() / heat_j_k.sum())
    assert mean_k - 298.15 == pytest.approx(0.4096, abs=5e-4)


def test_a_bead_on_a_ramp_is_late_by_slope_times_lag() -> None:
    # first-order theory: 2 K/s x 3 s = 6 K low
    board = sheet_board(emissivity=1.0, top_emissivity=0.0, cells=(4, 3))
    emitter = GridEmitter(plate(1.0, 300.0), 1e6, length_mm=180, width_mm=120)
    around = GridSurroundings(25.0, housing_loss_w_k=0.0, above_loss_w_k=0.0)
    plant = GridPlant(GridBench(board, (emitter,), 0.01, around))
    bead = Thermocouple(SensorPlacement("bead", lag_s=3.0), 25.0)
    heat_j_k = float(plant.heat_j_k[0, : plant.layout.housing].sum())
    places_c = []
    set_emitters_c(plant, 330.0)
    for _ in range(1000):
        plant.step(2.0 * heat_j_k)
        places_c.append(plant.place_k("board_centre") - ZERO_C_K)
        bead.step(places_c[-1], 25.0, 0.0)
    slope_k_s = (places_c[-1] - places_c[-31]) / 3.0
    assert slope_k_s == pytest.approx(2.0, abs=0.15)
    assert places_c[-1] - bead.bead_c == pytest.approx(3.0 * slope_k_s, rel=0.02)
    assert places_c[-1] - bead.bead_c == pytest.approx(6.0, abs=0.45)
