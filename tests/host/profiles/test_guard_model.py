"""What the guard is told of heater and board: from a scale, a ruler and watts, in header units."""

import pytest

from emberbed.device_description import decode_settings
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.guard_model import SIGMA_W_M2_K4, GuardModel, guess
from emberbed.profiles.model import Board
from emberbed.profiles.plan_bytes import decode_plan
from emberbed.profiles.reader import read_profile
from emberbed_fw.plan_check import PLAN_FINE, find_fault
from emberbed_fw.settings import Settings
from emberbed_sim.plant.couplings import lumps_of
from emberbed_sim.plant.parameters import BenchParameters, BoardParameters
from tests.support.plans import bench_settings, build_plan, cool, ramp

BOARD = Board(mass_g=240, length_mm=180, width_mm=120)


def test_sigma_is_codata():
    constants = pytest.importorskip("scipy.constants")
    assert pytest.approx(constants.Stefan_Boltzmann, rel=1e-9) == SIGMA_W_M2_K4


def test_the_guess_is_near_a_bench_of_quartz_tubes():
    """Against the simulated bench, whose view factors and masses are physics of their own."""
    bench = lumps_of(BenchParameters(board=BoardParameters(240, 180, 120)))
    on_board = bench.flows.emitter_centre_w_k4 + bench.flows.emitter_edge_w_k4
    guessed = guess(1000, BOARD)
    assert guessed.exchange_cm2 == pytest.approx(on_board / SIGMA_W_M2_K4 * 1e4, rel=0.15)
    around = bench.flows.emitter_around_w_k4 / SIGMA_W_M2_K4 * 1e4
    assert guessed.around_cm2 == pytest.approx(around, rel=0.25)
    assert guessed.emitter_j_per_k == pytest.approx(bench.capacities_j_k[0], rel=0.1)


def test_a_declared_board_has_narrow_bounds_and_a_small_budget():
    fields = guess(1000, BOARD).fields(BOARD)
    # 240 g of 1100 J/kgK are 264 J/K, 0.6 to 1.1 of it
    assert (fields["least_capacity_j_per_k"], fields["most_capacity_j_per_k"]) == (158, 290)
    assert fields["start_budget_j"] == pytest.approx(2323, abs=1)
    # 4200 W/m2 of 0.0216 m2 over 125 K, energy.py
    assert fields["board_loss_mw_per_k"] == round(4200 * 0.0216 / 125 * 1000)
    assert fields["model_trust"] == 0


def test_a_measured_board_is_taken_as_it_was_measured():
    fields = GuardModel(120, 127, 128, 0.4, True, 180.0).fields(BOARD)
    assert (fields["least_capacity_j_per_k"], fields["most_capacity_j_per_k"]) == (126, 252)
    assert fields["model_trust"] == 1


def test_any_board_has_wide_bounds():
    fields = guess(1000, None).fields(None)
    assert fields["least_capacity_j_per_k"] < 20 < 1400 < fields["most_capacity_j_per_k"]


def test_a_compiled_plan_carries_it_only_where_watts_are_known():
    profile = read_profile("label-printer").model
    names, ceilings = ["top_near_chip", "edge", *[""] * 6], [26000] * 8
    without = decode_plan(compile_plan(profile, names, ceilings)).header
    known = decode_plan(compile_plan(profile, names, ceilings, zone_w=1000)).header
    assert without["emitter_j_per_k"] == 0
    assert known["emitter_j_per_k"] == 120


@pytest.mark.parametrize(
    "wrong",
    [
        {"most_capacity_j_per_k": 10},
        {"least_capacity_j_per_k": 0},
        {"exchange_cm2": 0},
        {"exchange_cm2": 2001},
        {"around_cm2": 2001},
        {"emitter_j_per_k": 4001},
        {"convection_mw_per_k": 20001},
        {"board_loss_mw_per_k": 0},
        {"board_loss_mw_per_k": 10001},
        {"model_trust": 2},
        {"emitter_j_per_k": 0, "model_trust": 1},
    ],
)
def test_the_firmware_refuses_a_model_that_is_not_whole(wrong):
    settings = Settings(bench_settings())
    fields = guess(1000, BOARD).fields(BOARD)
    stages = [ramp(2500, 9000, 650), cool()]
    assert find_fault(build_plan(stages, **fields), settings) == PLAN_FINE
    assert find_fault(build_plan(stages, **{**fields, **wrong}), settings) != PLAN_FINE


def test_heaters_of_the_virtual_device_are_modelled():
    from emberbed_sim.bench_device import bench_settings as virtual

    watts = decode_settings(virtual(BenchParameters())).zones[0].watts
    assert guess(watts, BOARD).exchange_cm2 > 100
