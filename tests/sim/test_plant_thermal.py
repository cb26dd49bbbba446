"""Heat flow against closed forms, published correlations and the laws of thermodynamics."""

from itertools import pairwise

import pytest

from emberbed_sim.plant.nozzle import STILL, Nozzle
from emberbed_sim.plant.parameters import (
    TICK_S,
    BenchParameters,
    BoardParameters,
    ChipParameters,
    EmitterParameters,
    SurroundingsParameters,
)
from emberbed_sim.plant.thermal import SIGMA_W_M2_K4, ZERO_C_K, ThermalNetwork
from emberbed_sim.plant.view_factors import coaxial_view_factor

ENDLESS_J_K = 1e12  # a heat capacity that holds its temperature
FIXED_AIR = SurroundingsParameters(heat_capacity_j_k=ENDLESS_J_K, room_c=25.0)
DARK = EmitterParameters(emissivity=0.0, convection_w_k=0.0)
NO_CHIP = ChipParameters(1e-4, 1e-4)  # too small to be felt

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
    thermal.centre_k = thermal.edge_k = thermal.chip_k = board_c + ZERO_C_K


def board_heat_j(thermal: ThermalNetwork) -> float:
    """Return the heat of board and chip together, above 0 K."""
    _emitter, centre_j_k, edge_j_k, _around, chip_j_k = thermal._capacities
    return centre_j_k * thermal.centre_k + edge_j_k * thermal.edge_k + chip_j_k * thermal.chip_k


def mean_board_k(thermal: ThermalNetwork) -> float:
    return (thermal.centre_k + thermal.edge_k) / 2


def loss_w(
    board: BoardParameters, board_c: float, fan: float = 0.0, draught_w_m2_k: float = 0.0
) -> float:
    """Return what a board with its chip loses at this temperature, from how fast it cools."""
    thermal = ThermalNetwork(BenchParameters(DARK, board, surroundings=FIXED_AIR))
    set_board(thermal, board_c)
    before_j = board_heat_j(thermal)
    thermal.step((0.0,), fan, STILL, draught_w_m2_k)
    return (before_j - board_heat_j(thermal)) / TICK_S


def test_radiation_only_cooling_takes_the_exact_time() -> None:
    # Exact solution, Bejan, Heat Transfer Handbook eq. 3.283: 473.15 K to 373.15 K in 298.15 K
    # surroundings, emissivity 0.9, 3200 J/m2K behind each radiating face: 286.706 s.
    board = BoardParameters(182.42743, 180, 120, emissivity=0.9, convection=0.0)
    assert board.heat_capacity_j_k / (2 * board.area_m2) == pytest.approx(3200, rel=1e-5)
    thermal = ThermalNetwork(BenchParameters(DARK, board, NO_CHIP, surroundings=FIXED_AIR))
    set_board(thermal, 200.0)
    before_k, ticks = thermal.centre_k, 0
    while thermal.centre_k > 373.15:
        before_k = thermal.centre_k
        thermal.step((0.0,), 0.0)
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
    thermal = ThermalNetwork(BenchParameters(emitter, board, NO_CHIP, surroundings=FIXED_AIR))
    before_k = 0.0
    for _ in range(20000):
        before_k = mean_board_k(thermal)
        thermal.step((250.0,), 0.0)
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


def test_a_draught_cools_the_upper_faces() -> None:
    # Newton's law of cooling over the upper face alone, chip included: h A dT
    board = BoardParameters()
    extra_w = loss_w(board, 125.0, draught_w_m2_k=10.0) - loss_w(board, 125.0)
    assert extra_w == pytest.approx(10.0 * 0.0216 * 100.0, rel=0.01)


def test_energy_is_conserved_over_a_whole_run() -> None:
    # first law: electric energy = heat stored + heat given to the room
    thermal = ThermalNetwork(BenchParameters())
    for tick in range(12000):
        thermal.step((1000.0 if tick < 3000 and tick % 10 < 6 else 0.0,), float(tick > 6000))
    assert thermal.energy_in_j == pytest.approx(180_000, rel=1e-9)
    assert thermal.energy_to_room_j > 20_000
    assert thermal.energy_from_air_j == thermal.energy_carried_j == 0.0
    balance_j = thermal.stored_j() + thermal.energy_to_room_j
    assert balance_j == pytest.approx(thermal.energy_in_j, rel=1e-9)


def test_the_books_close_with_hot_air_a_draught_and_boards_carried_away() -> None:
    # first law: electric + from hot air + carried in = stored + given to the room
    bench = BenchParameters()
    thermal, nozzle = ThermalNetwork(bench), Nozzle(bench, seed=1)
    for tick in range(12000):
        jet = nozzle.jet(tick * TICK_S, 380.0, tick > 4000) if 3000 < tick < 6000 else STILL
        power_w = 1000.0 if tick < 6000 and tick % 10 < 3 else 0.0
        thermal.step((power_w,), float(tick > 9000), jet, 10.0 if tick > 5000 else 0.0)
        if tick == 7000:
            thermal.carry(chip_k=thermal.room_k)
        if tick == 8000:
            thermal.carry(centre_k=thermal.room_k, edge_k=thermal.room_k)
    assert thermal.energy_from_air_j > 3_000
    assert thermal.energy_carried_j < -3_000
    came_j = thermal.energy_in_j + thermal.energy_from_air_j + thermal.energy_carried_j
    assert thermal.stored_j() + thermal.energy_to_room_j == pytest.approx(came_j, rel=1e-9)


def test_a_bench_at_room_temperature_stays_there() -> None:
    # second law: nothing warms itself
    thermal = ThermalNetwork(BenchParameters())
    for _ in range(1000):
        thermal.step((0.0,), 1.0)
    lumps_k = (
        thermal.emitter_k, thermal.centre_k, thermal.edge_k, thermal.surroundings_k, thermal.chip_k
    )  # fmt: skip
    for kelvin in lumps_k:
        assert kelvin == pytest.approx(thermal.room_k, abs=1e-9)


@pytest.mark.parametrize("blows", [False, True])
def test_the_step_is_fine_enough(blows: bool) -> None:
    # scipy's LSODA at 1e-9 on the same equations; the tick's own error stays far under a reading
    integrate = pytest.importorskip("scipy.integrate")
    bench = BenchParameters()
    thermal = ThermalNetwork(bench)
    jet = Nozzle(bench, seed=1).jet(0.0, 380.0, False) if blows else STILL
    blown = thermal._blown(1.0, jet, 10.0) if blows else (0.0,) * 6
    fan, draught_w_m2_k = (1.0, 10.0) if blows else (0.0, 0.0)
    capacities = thermal._capacities

    def rates(_seconds: float, kelvin: list[float]) -> list[float]:
        flows = list(thermal._flows_w(*kelvin, blown)[:5])
        flows[0] += 600.0
        return [flow / capacity for flow, capacity in zip(flows, capacities, strict=True)]

    start = [thermal.room_k] * 5
    fine = integrate.solve_ivp(rates, (0, 240), start, method="LSODA", rtol=1e-9, atol=1e-9)
    for _ in range(2400):
        thermal.step((600.0,), fan, jet, draught_w_m2_k)
    found = (
        thermal.emitter_k, thermal.centre_k, thermal.edge_k, thermal.surroundings_k, thermal.chip_k
    )  # fmt: skip
    assert found == pytest.approx(tuple(fine.y[:, -1]), abs=1e-3)
