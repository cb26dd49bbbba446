"""What happens on a board on a grid: air, chips, draughts, hands; and its cells."""

import pytest

from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.link.device import Device
from emberbed.link.events import Record
from emberbed.records import decode_record
from emberbed_sim.plant.grid_from_bench import beside_mm, grid_bench
from emberbed_sim.plant.grid_parameters import GridBench, GridBoard
from emberbed_sim.plant.grid_thermal import GridThermal
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import (
    BenchParameters,
    BoardParameters,
    SurroundingsParameters,
    bench_for_board,
)
from emberbed_sim.plant.switches import OUT_CONTACTOR
from tests.support.grid_heaters import BENCH, books, drive, grid_heater, map_c, warm
from tests.support.warm_heaters import SENSORS


def test_hot_air_heats_the_chip_most_and_stops_when_it_is_taken_away() -> None:
    heater, never = warm(), warm()
    heater.blow(380.0)
    for one in (heater, never):
        drive(one, 60)
    truth, still = heater.truth, never.truth
    assert truth.air_on and not still.air_on
    chip_k, beside_k = truth.chip_c - still.chip_c, truth.board_centre_c - still.board_centre_c
    # solder of SAC305 melts at 217 degC under a tool of 380: what the stage is for
    assert 60 < chip_k < 120
    assert 5 < beside_k < 0.6 * chip_k
    assert truth.board_edge_c - still.board_edge_c < 0.5 * beside_k
    assert 2 < truth.beads_c[0] - truth.board_centre_c < 40  # hot air at the bead itself
    assert truth.beads_c[3] == pytest.approx(still.beads_c[3], abs=2)  # none gets below
    heater.blow(None)
    drive(heater, 1)
    assert not heater.truth.air_on
    drive(heater, 20)
    assert heater.truth.beads_c[0] == pytest.approx(heater.truth.board_centre_c, abs=2)


def test_a_wandering_nozzle_takes_its_heat_with_it() -> None:
    steady, tired = warm("hot_air@0s"), warm("hot_air_wanders@0s")
    began_j, was_j = books(tired)
    pulls_k = []
    for _ in range(60):
        for heater in (steady, tired):
            drive(heater, 1)
        pulls_k.append(tired.truth.beads_c[0] - tired.truth.board_centre_c)
    assert max(pulls_k) > min(pulls_k[5:]) + 10  # now over the sensor, now not
    assert tired.truth.chip_c < steady.truth.chip_c - 5
    came_j, went_j = books(tired)  # a nozzle that moves keeps the books too
    assert tired.thermal.energy_from_air_j > 1000
    assert went_j - was_j == pytest.approx(came_j - began_j, rel=1e-8)


def test_a_cold_chip_cools_what_is_under_it() -> None:
    heater, plain = warm("cold_chip@1s"), warm()
    for one in (heater, plain):
        drive(one, 1.1)
    assert heater.truth.chip_c < 25
    for one in (heater, plain):
        drive(one, 20)
    assert 40 < heater.truth.chip_c < plain.truth.chip_c - 5
    missing_k = map_c(plain) - map_c(heater)
    assert missing_k.max() > 4
    assert missing_k[0, 0] < 0.5


def test_a_draught_cools_its_own_side_first() -> None:
    heater, plain = warm("draught@0s#10"), warm()
    for one in (heater, plain):
        drive(one, 30)
    lost_k = map_c(plain) - map_c(heater)
    # 10 W/m2K x 127 K on 7.8 kJ/m2K of board: 4.9 K in 30 s at first, 1 / sqrt(distance) around it
    assert 3 < lost_k.mean() < 5.5
    assert lost_k[:, 0].mean() > 1.5 * lost_k[:, -1].mean()


def test_a_hot_bench_warms_a_cold_board() -> None:
    heater = grid_heater("hot_bench@0s")
    truth = heater.truth
    assert truth.emitter_c == truth.beads_c[3] == pytest.approx(250.0)
    assert truth.surroundings_c == pytest.approx(23 + 0.13 * 227)
    assert truth.board_centre_c == pytest.approx(23.0)
    for _ in range(300):
        heater.step(0, 0)
    assert heater.truth.board_centre_c > 23 + 2


def test_a_new_board_is_cold_and_the_rest_stays_hot() -> None:
    heater = drive(warm(), 10)
    before = heater.truth
    heater.lift(0)
    heater.change_board()
    truth = heater.truth
    assert (truth.board_centre_c, truth.board_edge_c, truth.chip_c) == pytest.approx((23.0,) * 3)
    assert truth.beads_c[:3] == (23.0,) * 3
    assert (truth.emitter_c, truth.surroundings_c) == (before.emitter_c, before.surroundings_c)
    assert heater.thermal.energy_carried_j < -10_000


def test_fingers_and_lifted_beads_are_felt() -> None:
    heater = warm()
    heater.finger(1, 20.0)
    heater.lift(0)
    drive(heater, 15)
    truth = heater.truth
    assert truth.beads_c[1] < 33 + 0.2 * 150
    # contact 0.15: the rest is the air above the board
    above_c = heater.thermal.felt(SENSORS[0]).air_c
    expected_c = 0.15 * truth.board_centre_c + 0.85 * above_c
    assert truth.beads_c[0] == pytest.approx(expected_c, abs=1.0)


def test_a_lumped_bench_becomes_the_same_bench_on_a_grid() -> None:
    # two models made apart: within a tenth of the rise, as tests/sim/test_grid_plant.py has it
    lumped, grid = SimulatedHeater(BENCH, 1), grid_heater()
    for one in (lumped, grid):
        for tick in range(3000):
            one.step(1 if tick % 5 < 3 else 0, OUT_CONTACTOR)
    assert grid.truth.board_centre_c - 23 == pytest.approx(
        lumped.truth.board_centre_c - 23, rel=0.1
    )
    assert grid.truth.emitter_c - 23 == pytest.approx(lumped.truth.emitter_c - 23, rel=0.1)
    assert grid.thermal.energy_in_j == pytest.approx(lumped.thermal.energy_in_j)


@pytest.mark.parametrize(
    ("mass_g", "size_mm", "cells"),
    [(240, (180, 120), (24, 12)), (60, (100, 70), (20, 12)), (2, (20, 20), (4, 4))],
)
def test_boards_of_every_size_get_cells_that_the_tick_can_follow(mass_g, size_mm, cells) -> None:
    bench = bench_for_board(mass_g, *size_mm, SENSORS)
    made = grid_bench(bench)
    assert made.board.cells == cells
    assert bench.chip.length_mm / 2 < beside_mm(bench) <= min(25.0, size_mm[0] / 2)
    drive(SimulatedHeater(bench, 1, (), "grid"), 2)


def test_what_the_lumped_bench_says_reaches_the_grid() -> None:
    around = SurroundingsParameters(8000.0, 5.0, 17.0)
    made = grid_bench(BenchParameters(board=BoardParameters(300, 200, 130), surroundings=around))
    shared = made.surroundings
    assert shared.housing_j_k + shared.above_j_k == pytest.approx(8000.0)
    assert (shared.housing_loss_w_k, shared.above_loss_w_k, shared.room_c) == (3.0, 6.0, 17.0)
    assert made.board.scale.mass_g == 300
    (emitter,) = made.emitters
    assert emitter.heat_capacity_j_k == pytest.approx(120.0)


def test_a_bank_of_weak_and_strong_emitters_is_the_same_bank() -> None:
    made = grid_bench(BENCH, (1.0, 0.5, 0.8))
    assert [emitter.x_mm for emitter in made.emitters] == pytest.approx([-220 / 3, 0, 220 / 3])
    assert sum(emitter.area_m2 for emitter in made.emitters) == pytest.approx(0.22 * 0.15)
    whole, parts = SimulatedHeater(BENCH, 1, (), "grid"), GridThermal.of(BENCH, (1.0, 0.5, 0.8))
    uneven = SimulatedHeater(BENCH, 1, (), parts)
    even = SimulatedHeater(BENCH, 1, (), GridThermal.of(BENCH, (1.0, 1.0, 1.0)))
    for _ in range(600):
        for heater in (whole, even, uneven):
            heater.step(1, OUT_CONTACTOR)
    assert map_c(even) == pytest.approx(map_c(whole), abs=1.0)  # cut in three it heats alike
    assert uneven.truth.emitter_power_w == pytest.approx(1000 * 2.3 / 3)
    columns = map_c(uneven).mean(axis=0)
    assert columns[2] > columns[-3] + 1 > columns[len(columns) // 2] + 1


def test_what_is_no_plant_is_refused() -> None:
    with pytest.raises(ValueError, match="'cloud' is not known; the plants are lumped, grid"):
        SimulatedHeater(BENCH, 1, (), "cloud")
    with pytest.raises(ValueError, match="no part called 'chip'"):
        GridThermal(GridBench(GridBoard()))


def test_the_virtual_device_has_a_grid_if_asked() -> None:
    hottest_c = []
    for plant in ("lumped", "grid"):
        asked = VirtualBench("max", engine="cpython", faults=("hot_bench@0s#600",), plant=plant)
        with VirtualDevice(asked) as virtual, Device.connect(virtual.url) as device:
            records = []
            while len(records) < 150:
                events = [one for one in device.poll(10) if isinstance(one, Record)]
                records += [decode_record(one.raw) for one in events]
                device.renew(records[-1].tick)
        hottest_c.append([one.channel_cdeg(0) for one in records])
    assert all(celsius[-1] > celsius[0] + 100 for celsius in hottest_c)
    assert hottest_c[0] != hottest_c[1]
