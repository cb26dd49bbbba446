"""Heat flow against closed forms, published correlations and the laws of thermodynamics."""

from itertools import pairwise

import pytest

from emberbed_sim.plant.parameters import (
    TICK_S,
    BenchParameters,
    BoardParameters,
    EmitterParameters,
    SurroundingsParameters,
)
from emberbed_sim.plant.thermal import SIGMA_W_M2_K4, ZERO_C_K, ThermalNetwork
from emberbed_sim.plant.view_factors import coaxial_view_factor

ENDLESS_J_K = 1e12  # a heat capacity that holds its temperature
FIXED_AIR = SurroundingsParameters(heat_capacity_j_k=ENDLESS_J_K, room_c=25.0)
DARK = EmitterParameters(emissivity=0.0, convection_w_k=0.0)

# Square board in 25 degC air, both faces, emissivity 0.9: (side m, degC, loss W). Computed from
# McAdams' plate correlations, 0.54 and 0.27 Ra^1/4 with L = A / P, air properties and radiation.
PLATE_LOSSES = (
    (0.2, 100, 84.8),
    (0.2, 150, 168.9),
    (0.2, 200, 277.4),
    (0.3, 150, 364.9),
    (0.1, 150, 45.6),
)


def set_board(thermal: ThermalNetwork, board_c: float) -> None:
    thermal.centre_k = thermal.edge_k = board_c + ZERO_C_K


def mean_board_k(thermal: ThermalNetwork) -> float:
    return (thermal.centre_k + thermal.edge_k) / 2


def loss_w(board: BoardParameters, board_c: float, fan: float = 0.0) -> float:
    """Return what a board loses at this temperature, from how fast it cools."""
    thermal = ThermalNetwork(BenchParameters(DARK, board, FIXED_AIR))
    set_board(thermal, board_c)
    before_k = mean_board_k(thermal)
    thermal.step(0.0, fan)
    return (before_k - mean_board_k(thermal)) * board.heat_capacity_j_k / TICK_S


def test_radiation_only_cooling_takes_the_exact_time() -> None:
    # Exact solution, Bejan, Heat Transfer Handbook eq. 3.283: 473.15 K to 373.15 K in 298.15 K
    # surroundings, emissivity 0.9, 3200 J/m2K behind each radiating face: 286.706 s.
    board = BoardParameters(182.42743, 180, 120, emissivity=0.9, convection=0.0)
    assert board.heat_capacity_j_k / (2 * board.area_m2) == pytest.approx(3200, rel=1e-5)
    thermal = ThermalNetwork(BenchParameters(DARK, board, FIXED_AIR))
    set_board(thermal, 200.0)
    before_k, ticks = thermal.centre_k, 0
    while thermal.centre_k > 373.15:
        before_k = thermal.centre_k
        thermal.step(0.0, 0.0)
        ticks += 1
    too_far = (373.15 - thermal.centre_k) / (before_k - thermal.centre_k)
    assert (ticks - too_far) * TICK_S == pytest.approx(286.706, abs=0.01)
    assert thermal.edge_k == pytest.approx(thermal.centre_k, abs=1e-9)


@pytest.mark.parametrize(("side_m", "board_c", "table_w"), PLATE_LOSSES)
def test_a_bare_horizontal_board_loses_what_correlations_say(
    side_m: float, board_c: float, table_w: float
) -> None:
    board = BoardParameters(500, side_m * 1000, side_m * 1000, edge_convection=1.0)
    # 3 %: the plant uses one constant for the air at all temperatures
    assert loss_w(board, board_c) == pytest.approx(table_w, rel=0.03)


@pytest.mark.parametrize(("side_m", "board_c", "table_w"), PLATE_LOSSES)
def test_the_rim_loses_more_but_not_much(side_m: float, board_c: float, table_w: float) -> None:
    board = BoardParameters(500, side_m * 1000, side_m * 1000)
    assert 1.03 < loss_w(board, board_c) / table_w < 1.1  # factor of a plain plate: same table


def test_at_steady_state_the_board_absorbs_what_the_table_says_it_loses() -> None:
    # The stated factor: 1.03 to 1.1 of PLATE_LOSSES as above, the table read as a power law.
    emitter = EmitterParameters(convection_w_k=0.0)
    board = BoardParameters(130, 200, 200)
    thermal = ThermalNetwork(BenchParameters(emitter, board, FIXED_AIR))
    before_k = 0.0
    for _ in range(20000):
        before_k = mean_board_k(thermal)
        thermal.step(250.0, 0.0)
    assert mean_board_k(thermal) == pytest.approx(before_k, abs=1e-5)
    share = coaxial_view_factor(board.size_mm, emitter.size_mm, emitter.gap_mm)
    exchange_m2 = board.area_m2 * share * board.emissivity * emitter.emissivity
    absorbed_w = SIGMA_W_M2_K4 * exchange_m2 * (thermal.emitter_k**4 - thermal.room_k**4)
    assert 1.03 < absorbed_w / interpolated_w(mean_board_k(thermal) - ZERO_C_K) < 1.1


def interpolated_w(board_c: float) -> float:
    """Return the table's loss of the 0.2 m board between its rows."""
    rows = [(degrees, watts) for side_m, degrees, watts in PLATE_LOSSES if side_m == 0.2]
    for (low_c, low_w), (high_c, high_w) in pairwise(rows):
        if low_c <= board_c <= high_c:
            return low_w * (high_w / low_w) ** ((board_c - low_c) / (high_c - low_c))
    raise AssertionError(f"{board_c} degC is outside the table")


def test_the_fan_cools_by_its_coefficient() -> None:
    # Newton's law of cooling over both faces: h A dT with the 20 W/m2K of the parameters
    board = BoardParameters()
    extra_w = loss_w(board, 125.0, fan=1.0) - loss_w(board, 125.0)
    assert extra_w == pytest.approx(2 * 20.0 * 0.0216 * 100.0, rel=0.01)


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
    for kelvin in (thermal.emitter_k, thermal.centre_k, thermal.edge_k, thermal.surroundings_k):
        assert kelvin == pytest.approx(thermal.room_k, abs=1e-9)


def test_the_step_is_fine_enough() -> None:
    # scipy's LSODA at 1e-9 on the same equations; the tick's own error stays far under a reading
    integrate = pytest.importorskip("scipy.integrate")
    thermal = ThermalNetwork(BenchParameters())
    capacities = thermal._capacities

    def rates(_seconds: float, kelvin: list[float]) -> list[float]:
        emitter_k, centre_k, edge_k, around_k = kelvin
        flows = list(thermal._flows_w(emitter_k, centre_k, edge_k, around_k, 0.0)[:4])
        flows[0] += 600.0
        return [flow / capacity for flow, capacity in zip(flows, capacities, strict=True)]

    start = [thermal.room_k] * 4
    fine = integrate.solve_ivp(rates, (0, 240), start, method="LSODA", rtol=1e-9, atol=1e-9)
    for _ in range(2400):
        thermal.step(600.0, 0.0)
    found = (thermal.emitter_k, thermal.centre_k, thermal.edge_k, thermal.surroundings_k)
    assert found == pytest.approx(tuple(fine.y[:, -1]), abs=1e-3)
