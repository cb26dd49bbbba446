"""The chip on the board and the hot air over it, against closed forms and correlations."""

from math import exp, pi, sqrt

import pytest

from emberbed_sim.plant import couplings
from emberbed_sim.plant.nozzle import STILL, Jet, Nozzle
from emberbed_sim.plant.parameters import (
    TICK_S,
    BenchParameters,
    BoardParameters,
    ChipParameters,
    EmitterParameters,
    NozzleParameters,
    SurroundingsParameters,
)
from emberbed_sim.plant.thermal import ZERO_C_K, ThermalNetwork

# nothing but the contact between chip and board's middle: no radiation, no air, no neighbour
ALONE = BenchParameters(
    EmitterParameters(emissivity=0.0, convection_w_k=0.0),
    BoardParameters(emissivity=0.0, convection=0.0),
    ChipParameters(emissivity=0.0),
    surroundings=SurroundingsParameters(heat_capacity_j_k=1e12),
)


@pytest.fixture
def alone(monkeypatch: pytest.MonkeyPatch) -> ThermalNetwork:
    monkeypatch.setattr(couplings, "conduction_w_k", lambda _board: 0.0)
    return ThermalNetwork(ALONE)


def board_middle_j_k() -> float:
    """Return the middle's heat capacity without the chip: half the board's, recomputed."""
    return BoardParameters().heat_capacity_j_k / 2 - 5000 * 0.027**2


def test_chip_and_board_meet_as_two_bodies_do(alone: ThermalNetwork) -> None:
    # two lumps and one conductance: the difference falls as exp(-t G (1/C1 + 1/C2)), the heat
    # stays; C 5000 J/m2K and G 180 W/m2K over 27 x 27 mm as ChipParameters states
    chip_j_k, middle_j_k, contact_w_k = 5000 * 0.027**2, board_middle_j_k(), 180 * 0.027**2
    alone.centre_k, alone.chip_k = 423.15, 296.15
    per_s = contact_w_k * (1 / chip_j_k + 1 / middle_j_k)
    mean_k = (chip_j_k * 296.15 + middle_j_k * 423.15) / (chip_j_k + middle_j_k)
    for tick in range(1, 1201):
        alone.step((0.0,), 0.0)
        if tick % 100 == 0:
            apart_k = 127.0 * exp(-per_s * tick * TICK_S)
            chip_k = mean_k - apart_k * middle_j_k / (chip_j_k + middle_j_k)
            assert alone.chip_k == pytest.approx(chip_k, abs=2e-3)
            assert alone.centre_k - alone.chip_k == pytest.approx(apart_k, abs=2e-3)


def test_in_the_jet_the_chip_settles_between_air_and_board(alone: ThermalNetwork) -> None:
    # two conductances in series: T = (G1 T1 + G2 T2) / (G1 + G2), reached with tau = C / (G1 + G2)
    contact_w_k, jet_w_k = 180 * 0.027**2, 0.1
    tau_s = 5000 * 0.027**2 / (contact_w_k + jet_w_k)
    jet = Jet(653.15, jet_w_k, 0.0, 1.0, 0.0)
    end_k = (contact_w_k * 423.15 + jet_w_k * 653.15) / (contact_w_k + jet_w_k)
    alone.chip_k = 423.15
    for tick in range(1, 1501):
        alone.centre_k = 423.15  # held, as a board of endless mass would be
        alone.step((0.0,), 0.0, jet)
        if tick % 100 == 0:
            expected_k = end_k + (423.15 - end_k) * exp(-tick * TICK_S / tau_s)
            assert alone.chip_k == pytest.approx(expected_k, abs=0.02)


def test_a_chip_in_still_air_cools_by_radiation_alone_in_the_exact_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Exact solution, Bejan, Heat Transfer Handbook eq. 3.283: 473.15 K to 373.15 K in 298.15 K
    # surroundings, emissivity 0.9, 3200 J/m2K behind one face: 286.706 s
    monkeypatch.setattr(couplings, "contact_w_k", lambda _bench: 0.0)
    bench = BenchParameters(
        board=BoardParameters(convection=0.0),
        chip=ChipParameters(heat_capacity_j_m2_k=3200.0),
        surroundings=SurroundingsParameters(heat_capacity_j_k=1e12, room_c=25.0),
    )
    thermal = ThermalNetwork(bench)
    thermal.chip_k, before_k, ticks = 473.15, 473.15, 0
    while thermal.chip_k > 373.15:
        before_k = thermal.chip_k
        thermal.step((0.0,), 0.0)
        ticks += 1
    too_far = (373.15 - thermal.chip_k) / (before_k - thermal.chip_k)
    assert (ticks - too_far) * TICK_S == pytest.approx(286.706, abs=0.01)


# Air of a hand tool, from memory: 10 mm nozzle, 40 l/min of room air heated to 380 degC, 20 mm
# above the chip. Air at the film's 290 degC: conductivity 0.045 W/m K, Prandtl number 0.68,
# viscosity 4.7e-5 m2/s, and 6.1e-5 m2/s at the nozzle's 380 degC; handbook values from memory.
NOZZLE_M = 0.010
SPEED_M_S = 40e-3 / 60 * (653.15 / 293.15) / (pi / 4 * NOZZLE_M**2)
FILM_W_M_K, FILM_PRANDTL, FILM_M2_S, NOZZLE_M2_S = 0.045, 0.68, 4.7e-5, 6.1e-5


def flat_plate_w_m2_k(length_m: float) -> float:
    """Laminar flow along a plate, mean: Nu = 0.664 Re^1/2 Pr^1/3; textbooks, from memory."""
    reynolds = SPEED_M_S * length_m / FILM_M2_S
    assert reynolds < 5e5  # laminar
    return 0.664 * sqrt(reynolds) * FILM_PRANDTL ** (1 / 3) * FILM_W_M_K / length_m


def round_jet_w_m2_k(radius_m: float, height_m: float) -> float:
    """One round jet onto a plate, mean within a radius: Martin's correlation; from memory."""
    reynolds = SPEED_M_S * NOZZLE_M / NOZZLE_M2_S
    assert 2000 < reynolds < 30000 and 2.5 <= radius_m / NOZZLE_M <= 7.5
    share = NOZZLE_M / radius_m
    shape = share * (1 - 1.1 * share) / (1 + 0.1 * (height_m / NOZZLE_M - 6) * share)
    strength = 2 * sqrt(reynolds * (1 + reynolds**0.55 / 200))
    return FILM_PRANDTL**0.42 * shape * strength * FILM_W_M_K / NOZZLE_M


def test_the_jet_is_of_the_size_that_correlations_give() -> None:
    nozzle = NozzleParameters()
    published = (flat_plate_w_m2_k(0.027), round_jet_w_m2_k(0.025, 0.020))
    for w_m2_k in published:
        assert 0.6 < nozzle.chip_w_m2_k / w_m2_k < 1.6  # such correlations hold within a third
    # farther out the jet has spread and slowed
    assert nozzle.board_w_m2_k < min(published)


def test_hot_air_melts_solder_on_a_supported_board() -> None:
    # common practice, no source: support at 150 degC, air of 380 degC; lead-free balls want 230 to
    # 245 degC at the chip after one to two minutes, and the board beside it only grows warmer
    bench = BenchParameters()
    thermal, jet = ThermalNetwork(bench), Nozzle(bench, seed=1).jet(0.0, 380.0, False)
    thermal.emitter_k = 330 + ZERO_C_K
    thermal.centre_k = thermal.edge_k = 150 + ZERO_C_K
    thermal.chip_k = 140 + ZERO_C_K  # measured below the board in the soak
    thermal.surroundings_k = 46 + ZERO_C_K
    chip_c = {}
    for tick in range(1, 1201):
        thermal.step((290.0,), 0.0, jet)  # what held 150 degC before
        chip_c[tick] = thermal.chip_k - ZERO_C_K
    assert chip_c[150] < 217  # not in a moment: SAC305 solidus
    assert 228 < chip_c[600] < 245
    assert 230 < chip_c[1200] < 245
    assert 4 < thermal.centre_k - ZERO_C_K - 150 < 20
    assert thermal.edge_k < thermal.centre_k


def test_without_hot_air_the_chip_follows_the_board_late_and_below_it() -> None:
    thermal = ThermalNetwork(BenchParameters())
    for _ in range(1500):
        thermal.step((600.0,), 0.0, STILL)
    ramp_k_s = -thermal.centre_k
    lag_k = thermal.centre_k - thermal.chip_k
    thermal.step((600.0,), 0.0)
    ramp_k_s = (ramp_k_s + thermal.centre_k) / TICK_S
    # first-order lag on a ramp, slope x tau with tau = C / G = 28 s; the chip's own loss adds some
    assert 28 * ramp_k_s * 0.9 < lag_k < 28 * ramp_k_s + 15


def test_a_chip_changes_little_for_the_board() -> None:
    # it is a fiftieth of the board's heat and takes the place of what it covers
    with_chip, without = (
        ThermalNetwork(BenchParameters(chip=chip))
        for chip in (ChipParameters(), ChipParameters(1e-4, 1e-4))
    )
    for _ in range(3000):
        with_chip.step((600.0,), 0.0)
        without.step((600.0,), 0.0)
    assert with_chip.centre_k == pytest.approx(without.centre_k, abs=2.0)
    assert with_chip.edge_k == pytest.approx(without.edge_k, abs=2.0)
    assert sum(with_chip._capacities) == pytest.approx(sum(without._capacities), rel=1e-9)


def test_a_featherweight_board_keeps_half_its_middle() -> None:
    # 1 g of 60 x 60 mm stores less than the chip: no lump may end with nothing or less
    bench = BenchParameters(board=BoardParameters(1, 60, 60))
    _emitter, centre_j_k, edge_j_k, _around, _chip = couplings.capacities_j_k(bench)
    assert centre_j_k == pytest.approx(edge_j_k / 2) and centre_j_k > 0
