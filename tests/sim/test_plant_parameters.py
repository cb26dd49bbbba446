"""Benches: heat capacity from kitchen scale and ruler, and refusal of impossible parts."""

import pytest

from emberbed_fw.units import CHANNELS as FIRMWARE_CHANNELS
from emberbed_fw.units import TICK_MS
from emberbed_sim.plant.parameters import (
    CHANNELS,
    PLACES,
    TICK_S,
    BenchParameters,
    BoardParameters,
    ChipParameters,
    NozzleParameters,
    SensorPlacement,
    bench_for_board,
    sensor_at,
)

SQUARE_MM = 1000.0


# Volume rule over FR-4 1.6 mm (1850 kg/m3, 1100 J/kg K) and copper (8960, 385), two check boards
# (layers, coverage), recomputed here from the densities and not from the plant's table.
@pytest.mark.parametrize(("layers", "cover"), [(2, 0.5), (4, 0.5), (8, 0.7)])
def test_heat_capacity_of_laminate_and_copper(layers: int, cover: float) -> None:
    copper_kg = layers * 35e-6 * cover * 8960
    core_kg = (1.6e-3 - layers * 35e-6) * 1850
    filler_kg = layers * 35e-6 * (1 - cover) * 1850
    expected_j_k = copper_kg * 385 + (core_kg + filler_kg) * 1100
    mass_g = (copper_kg + core_kg + filler_kg) * 1000
    board = BoardParameters(mass_g, SQUARE_MM, SQUARE_MM)
    assert board.heat_capacity_j_k == pytest.approx(expected_j_k, rel=0.02)


def test_a_loaded_board_stores_between_copper_and_plastic() -> None:
    # specific heats of copper 385 and of FR-4 1100 J/kg K, handbook values from memory
    board = BoardParameters()
    assert 0.24 * 385 < board.heat_capacity_j_k < 0.24 * 1100


def test_heat_capacity_grows_with_mass() -> None:
    capacities = [BoardParameters(mass, 180, 120).heat_capacity_j_k for mass in range(20, 400, 5)]
    assert capacities == sorted(capacities)
    assert len(set(capacities)) == len(capacities)


def test_bench_for_board_keeps_what_it_is_given() -> None:
    sensors = [SensorPlacement("chip"), SensorPlacement("bank", "emitter")]
    bench = bench_for_board(60, 100, 80, sensors)
    assert (bench.board.mass_g, bench.board.size_mm) == (60, (100, 80))
    assert bench.sensors == tuple(sensors)


def test_the_plant_ticks_like_the_device() -> None:
    assert round(TICK_S * 1000) == TICK_MS
    assert CHANNELS == FIRMWARE_CHANNELS


@pytest.mark.parametrize("mass_g", [0, -5, float("nan"), float("inf")])
def test_an_impossible_mass_is_refused(mass_g: float) -> None:
    with pytest.raises(ValueError, match="mass_g is .*; give a number above 0"):
        BoardParameters(mass_g=mass_g)


def test_impossible_sensors_are_refused() -> None:
    with pytest.raises(ValueError, match="places are board_centre, board_edge, emitter, chip_top"):
        SensorPlacement("chip", "roof")
    with pytest.raises(ValueError, match="contact is 1.5; give a number from 0 to 1"):
        SensorPlacement("chip", contact=1.5)
    with pytest.raises(ValueError, match="has 9 sensors"):
        BenchParameters(sensors=(SensorPlacement("chip"),) * 9)
    with pytest.raises(ValueError, match="air_beside is -1; give a number from 0 to 1"):
        SensorPlacement("chip", air_beside=-1)


def test_a_sensor_sees_what_is_usual_at_its_place() -> None:
    placed = {where: sensor_at("bead", where) for where in PLACES}
    assert placed["board_centre"] == SensorPlacement(
        "bead", "board_centre", stray_ir=0.03, air_on_chip=0.04, air_beside=0.3
    )
    assert placed["chip_top"].stray_ir == 0.0  # the board is between it and the emitters
    assert placed["emitter"].air_on_chip == placed["emitter"].air_beside == 0.0
    with pytest.raises(ValueError, match="placed at 'roof'"):
        sensor_at("bead", "roof")


def test_a_small_board_gets_a_chip_that_fits() -> None:
    assert bench_for_board(240, 180, 120, [sensor_at("a", "chip_top")]).chip == ChipParameters()
    small = bench_for_board(5, 40, 30, [sensor_at("a", "chip_top")]).chip
    assert (small.length_mm, small.width_mm) == (15, 15)
    with pytest.raises(ValueError, match="27 x 27 mm is too large .* sides up to 15 mm"):
        BenchParameters(board=BoardParameters(5, 40, 30))


def test_impossible_chips_and_nozzles_are_refused() -> None:
    with pytest.raises(ValueError, match="contact_w_m2_k is 0; give a number above 0"):
        ChipParameters(contact_w_m2_k=0)
    with pytest.raises(ValueError, match="chip_w_m2_k is -1; give a number above 0"):
        NozzleParameters(chip_w_m2_k=-1)


def test_chip_contact_is_of_the_size_that_makers_state() -> None:
    # die to board of plastic ball arrays of this size, 6 to 10 K/W: makers' sheets, from memory
    chip = ChipParameters()
    assert 6 < 1 / (chip.contact_w_m2_k * chip.area_m2) < 10
