"""The simulated heater with its board on a grid: whole runs, happenings, hands, books, bits."""

import zlib

import numpy as np
import pytest

from emberbed.bench.prepare import load_profile, prepare
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.device_description import decode_settings
from emberbed.link.device import Device
from emberbed.link.events import Record
from emberbed.records import decode_record
from emberbed.rehearse import bench_of
from emberbed_fw import run_states as rs
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_from_bench import beside_mm, grid_bench
from emberbed_sim.plant.grid_parameters import GridBench, GridBoard, chip_part
from emberbed_sim.plant.grid_thermal import GridThermal
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import (
    BenchParameters,
    BoardParameters,
    ChipParameters,
    SurroundingsParameters,
    bench_for_board,
    sensor_at,
)
from emberbed_sim.plant.switches import OUT_CONTACTOR, OUT_FAN

SENSORS = (
    sensor_at("control", "board_centre"),
    sensor_at("rim", "board_edge"),
    sensor_at("chip", "chip_top"),
    sensor_at("bank", "emitter"),
)
BENCH = BenchParameters(sensors=SENSORS)
BUSY = (
    "hot_bench@0s", "hot_air_wanders@5s:20s", "draught@8s", "tape_creep@1s#1", "finger@3s",
    "bead_touched@12s#2", "bead_lifted@15s:4s", "bead_grounded@22s#1", "cold_chip@18s",
)  # fmt: skip
LUMPED_CRC = 0x1134425E


def grid_heater(*faults: str, seed: int = 1) -> SimulatedHeater:
    return SimulatedHeater(BENCH, seed, [parse_fault(fault) for fault in faults], "grid")


def drive(heater: SimulatedHeater, seconds: float, outputs: int = OUT_CONTACTOR) -> SimulatedHeater:
    for tick in range(round(seconds * 10)):
        heater.step(1 if tick % 10 < 3 else 0, outputs)
    return heater


def warm(*faults: str) -> SimulatedHeater:
    """Return a bench whose board has been put to 150 degC, as in a soak."""
    heater = grid_heater(*faults)
    assert isinstance(heater.thermal, GridThermal)
    heater.thermal.plant.set_board_c(150.0)
    heater.thermal.plant.set_around_c(320.0, 48.0, 28.0)
    for couple, bead_c in zip(heater.beads.couples, (150.0, 150.0, 150.0, 320.0), strict=True):
        couple.settle(bead_c)
    return heater


def books(heater: SimulatedHeater) -> tuple[float, float]:
    """Return what came in and what is there or has left, in J."""
    heat = heater.thermal
    came_j = heat.energy_in_j + heat.energy_from_air_j + heat.energy_carried_j
    return came_j, heat.stored_j() + heat.energy_to_room_j


def map_c(heater: SimulatedHeater) -> np.ndarray:
    """Return the board's upper face, [y, x]."""
    assert isinstance(heater.thermal, GridThermal)
    return heater.thermal.plant.map_c()[0]


# Air of 380 degC over a board of 100 x 70 mm: lead solder moves long before the usual time is up.
@pytest.mark.parametrize(
    ("name", "air_for_s", "melts_c"),
    [("label-printer", 75.0, 217.0), ("weather-logger", 45.0, 183.0)],
)
def test_a_shipped_profile_runs_on_the_grid_as_it_should(
    name: str, air_for_s: float, melts_c: float
) -> None:
    # overshoot at most 2 degC: what the default gains were chosen for; common practice, no source
    profile = load_profile(name)
    bench = bench_of(profile)
    settings = bench_settings(bench)
    prepared = prepare(profile, decode_settings(settings))
    heater = SimulatedHeater(bench, 1, (), "grid")
    loop = ClosedLoop(settings, prepared.plan, heater, Operator(air_for_s=air_for_s))
    records, hottest_chip_c = [], 0.0
    for raw in loop.run():
        records.append(decode_record(raw))
        hottest_chip_c = max(hottest_chip_c, heater.thermal.chip_k - 273.15)
    assert records[-1].state == rs.FINISHED
    assert hottest_chip_c > melts_c
    over_cdeg = [
        reading - asked
        for one in records
        if (asked := one.asked_cdeg()) is not None
        and (reading := one.channel_cdeg(0)) is not None
        and one.state in rs.HEATING_STATES
        and one.waits_for != rs.WAITS_AIR_AWAY
    ]
    assert len(over_cdeg) > 3000
    assert max(over_cdeg) <= 200
    came_j, went_j = books(heater)
    assert came_j > 40_000
    assert went_j == pytest.approx(came_j, rel=1e-9)  # first law


def test_the_lumped_bench_gives_the_bits_it_always_gave() -> None:
    # words of a minute of everything, as they were before the bench could have a grid
    heater = SimulatedHeater(BENCH, 7, [parse_fault(fault) for fault in BUSY])
    crc = 0
    for tick in range(600):
        heater.step(1 if tick % 10 < 4 else 0, 3 if tick % 7 else 1)
        crc = zlib.crc32(heater.words, crc)
        if tick == 400:
            heater.change_board()
            heater.blow(300.0)
    assert crc == LUMPED_CRC


def test_everything_at_once_keeps_the_books_and_the_seed_decides() -> None:
    def recorded(seed: int) -> list[object]:
        heater, tape = grid_heater(*BUSY, seed=seed), []
        for tick in range(400):
            heater.step(1 if tick % 10 < 4 else 0, OUT_CONTACTOR | (OUT_FAN if tick > 300 else 0))
            tape.append((heater.words, heater.port_flags, heater.truth))
            if tick == 250:
                heater.change_board()
                heater.blow()
        assert heater.thermal.energy_carried_j != 0
        assert heater.thermal.energy_from_air_j > 100
        came_j, went_j = books(heater)
        assert went_j == pytest.approx(came_j, rel=1e-9)  # first law
        return tape

    assert recorded(7) == recorded(7) != recorded(8)


def test_a_bench_at_rest_reads_its_room() -> None:
    heater = grid_heater()
    assert heater.fresh_channels == 0b1111
    assert heater.truth.beads_c == (23.0,) * 4
    for _ in range(50):
        heater.step(0, OUT_FAN)
    truth = heater.truth
    centre_c, edge_c, chip_c = truth.board_centre_c, truth.board_edge_c, truth.chip_c
    assert (truth.emitter_c, centre_c, edge_c, chip_c) == pytest.approx((23.0,) * 4, abs=1e-6)
    assert truth.beads_c == pytest.approx((23.0,) * 4, abs=1e-6)


def test_beads_read_their_places() -> None:
    heater = drive(warm(), 60)
    truth = heater.truth
    places = (truth.board_centre_c, truth.board_edge_c, truth.chip_c, truth.emitter_c)
    assert truth.beads_c == pytest.approx(places, abs=1.0)
    assert truth.chip_c < truth.board_centre_c < truth.emitter_c


def test_power_is_what_the_emitters_take() -> None:
    # Joule's law: two thirds of three equal emitters work, on rated voltage
    weak = GridBench(
        GridBoard(parts=(chip_part(ChipParameters()),)),
        (
            GridEmitter("quartz", 300.0, -75.0, 0.0, 70.0, 150.0),
            GridEmitter("quartz", 300.0, 0.0, 0.0, 70.0, 150.0, strength=0.0),
            GridEmitter("quartz", 300.0, 75.0, 0.0, 70.0, 150.0),
        ),
    )
    heat = GridThermal(weak)
    heater = SimulatedHeater(BENCH, 1, (), heat)
    for _ in range(100):
        heater.step(1, OUT_CONTACTOR)
    assert heater.truth.emitter_power_w == pytest.approx(600.0)
    assert heat.energy_in_j == pytest.approx(600.0 * 9.97)  # the contact closes 30 ms late
    bodies_k = heat.plant.state[0, heat.plant.layout.sources]
    assert bodies_k[0] > bodies_k[1] + 50
    assert heater.truth.emitter_c == pytest.approx(bodies_k.max() - 273.15)


def zoned_heater() -> SimulatedHeater:
    """Return a bench of three zones side by side, the middle one with two emitters."""
    chip = chip_part(ChipParameters())
    emitters = (
        GridEmitter("quartz", 300.0, -75.0, 0.0, 70.0, 150.0, zone=0),
        GridEmitter("quartz", 150.0, 0.0, -37.5, 70.0, 75.0, zone=1),
        GridEmitter("quartz", 150.0, 0.0, 37.5, 70.0, 75.0, zone=1, strength=0.5),
        GridEmitter("quartz", 200.0, 75.0, 0.0, 70.0, 150.0, zone=2),
    )
    return SimulatedHeater(BENCH, 1, (), GridThermal(GridBench(GridBoard(parts=(chip,)), emitters)))


@pytest.mark.parametrize(
    ("driven_zones", "watts", "hot"),
    [
        (0b001, 300.0, {0}),
        (0b010, 225.0, {1, 2}),  # one of its emitters gives half of what is rated
        (0b100, 200.0, {3}),
        (0b101, 500.0, {0, 3}),
        (0b111, 725.0, {0, 1, 2, 3}),
        (0b1000, 0.0, set()),  # a zone that this bench has not got
    ],
)
def test_a_drive_bit_powers_its_own_zones_emitters(
    driven_zones: int, watts: float, hot: set[int]
) -> None:
    # Joule's law, emitter by emitter; the contactor is closed before the zones are driven
    heater = zoned_heater()
    heat = heater.thermal
    assert isinstance(heat, GridThermal)
    heater.step(0, OUT_CONTACTOR)
    for _ in range(50):
        heater.step(driven_zones, OUT_CONTACTOR)
    assert heater.truth.emitter_power_w == pytest.approx(watts)
    assert heat.energy_in_j == pytest.approx(watts * 5.0)
    rise_k = heat.plant.state[0, heat.plant.layout.sources] - 296.15
    assert {number for number, rise in enumerate(rise_k) if rise > 5} == hot
    came_j, went_j = books(heater)
    assert went_j == pytest.approx(came_j, rel=1e-9)  # first law


def test_a_zone_warms_its_own_side_of_the_board() -> None:
    left, right = zoned_heater(), zoned_heater()
    for _ in range(900):
        left.step(0b001, OUT_CONTACTOR)
        right.step(0b100, OUT_CONTACTOR)
    half = map_c(left).shape[1] // 2
    assert map_c(left)[:, :half].mean() > map_c(left)[:, half:].mean() + 3
    assert map_c(right)[:, half:].mean() > map_c(right)[:, :half].mean() + 3


def test_a_bead_can_be_moved_over_the_board() -> None:
    heater = drive(warm(), 5)
    plant = heater.thermal.plant  # type: ignore[union-attr]
    plant.state[0, plant.layout.top] += np.linspace(-20, 20, plant.layout.cells)
    heater.place(1, 60.0, 30.0)
    heater.place(0, 60.0, -30.0)
    drive(heater, 15)  # ten times its lag
    rows, columns = map_c(heater).shape
    x_mm = (np.arange(columns) + 0.5) * 180 / columns - 90
    y_mm = (np.arange(rows) + 0.5) * 120 / rows - 60
    for channel, spot_mm in ((1, (60.0, 30.0)), (0, (60.0, -30.0))):
        near = np.hypot(x_mm[None, :] - spot_mm[0], y_mm[:, None] - spot_mm[1]) < 8
        assert heater.truth.beads_c[channel] == pytest.approx(map_c(heater)[near].mean(), abs=1)
    assert heater.truth.beads_c[1] > heater.truth.beads_c[0] + 3


@pytest.mark.parametrize(
    ("channel", "spot_mm", "why"),
    [
        (0, (91.0, 0.0), "beside the board"),
        (0, (0.0, float("nan")), "beside the board"),
        (3, (0.0, 0.0), "fixed to an emitter"),
        (4, (0.0, 0.0), "no sensor"),
    ],
)
def test_where_no_bead_can_be_put(channel: int, spot_mm: tuple[float, float], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        grid_heater().place(channel, *spot_mm)
    with pytest.raises(ValueError, match="no spots"):
        SimulatedHeater(BENCH, 1).place(0, 0.0, 0.0)


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
