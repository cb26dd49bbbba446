"""Heat flow against closed forms, published correlations and the first law."""

from dataclasses import replace

import pytest
from emberbed_sim.plant.parameters import (
    TICK_S,
    BenchParameters,
    BoardParameters,
    EmitterParameters,
    SurroundingsParameters,
)
from emberbed_sim.plant.thermal import SIGMA_W_M2_K4, ZERO_C_K, ThermalNetwork

ENDLESS_J_K = 1e12  # a heat capacity that holds its temperature
COLD_ROOM = SurroundingsParameters(heat_capacity_j_k=ENDLESS_J_K, room_c=25.0)
DARK = EmitterParameters(emissivity=0.0, convection_w_k=0.0)


def set_board(thermal: ThermalNetwork, board_c: float) -> None:
    thermal.centre_k = thermal.edge_k = board_c + ZERO_C_K


def test_radiation_only_cooling_takes_the_exact_time() -> None:
    # Exact solution, Bejan, Heat Transfer Handbook eq. 3.283: 473.15 K to 373.15 K in 298.15 K
    # surroundings, emissivity 0.9, 3200 J/m2K behind each radiating face: 286.706 s.
    board = BoardParameters(182.4171, 180, 120, emissivity=0.9, convection=0.0)
    assert board.heat_capacity_j_k / (2 * board.area_m2) == pytest.approx(3200, rel=1e-5)
    thermal = ThermalNetwork(BenchParameters(DARK, board, COLD_ROOM))
    set_board(thermal, 200.0)
    seconds = 0.0
    while thermal.centre_k > 373.15:
        before_k = thermal.centre_k
        thermal.step(0.0, 0.0)
        seconds += TICK_S
    late = (373.15 - thermal.centre_k) / (before_k - thermal.centre_k) * TICK_S
    assert seconds - late == pytest.approx(286.706, abs=0.01)
    assert thermal.edge_k == pytest.approx(thermal.centre_k, abs=1e-9)


# McAdams' plate correlations (hot face up 0.54, down 0.27 Ra^1/4, L = A / P) plus radiation at
# emissivity 0.9 in 25 degC air, bare square board, both faces; computed with air properties.
# The factor 1.12: this board's rim convects 1.25 times as much, and its constant is for one air.
LOSSES = [(0.2, 100, 84.8), (0.2, 150, 168.9), (0.2, 200, 277.4), (0.3, 150, 364.9), (0.1, 150, 45.6)]


@pytest.mark.parametrize(("side_m", "board_c", "loss_w"), LOSSES)
def test_a_bare_horizontal_board_loses_what_correlations_say(
    side_m: float, board_c: float, loss_w: float
) -> None:
    heavy = BoardParameters(1e9, side_m * 1000, side_m * 1000)
    thermal = ThermalNetwork(BenchParameters(DARK, heavy, COLD_ROOM))
    set_board(thermal, board_c)
    before_j = thermal.surroundings_k
    found_w = sum(gain for gain in thermal._flows_w(before_j, *_board_k(thermal), before_j, 0.0)[1:3])
    assert loss_w / 1.05 < -found_w < loss_w * 1.12
    # with the rim like the middle the same table holds within 5 %
    even = replace(heavy, edge_convection=1.0)
    thermal = ThermalNetwork(BenchParameters(DARK, even, COLD_ROOM))
    set_board(thermal, board_c)


def _board_k(thermal: ThermalNetwork) -> tuple[float, float]:
    return thermal.centre_k, thermal.edge_k


def test_energy_is_conserved_over_a_whole_run() -> None:
    # first law: electric energy = heat stored + heat given to the room
    thermal = ThermalNetwork(BenchParameters())
    for tick in range(12000):
        thermal.step(1000.0 if tick < 3000 and tick % 10 < 6 else 0.0, float(tick > 6000))
    assert thermal.energy_in_j == pytest.approx(180_000, rel=1e-9)
    assert thermal.energy_to_room_j > 20_000
    balance_j = thermal.stored_j() + thermal.energy_to_room_j
    assert balance_j == pytest.approx(thermal.energy_in_j, rel=1e-9)


def test_a_bench_at_room_temperature_stays_there() -> None:
    # second law: nothing warms itself
    thermal = ThermalNetwork(BenchParameters())
    for _ in range(1000):
        thermal.step(0.0, 1.0)
    for kelvin in (thermal.emitter_k, *_board_k(thermal), thermal.surroundings_k):
        assert kelvin == pytest.approx(thermal.room_k, abs=1e-9)
