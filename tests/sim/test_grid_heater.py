"""The simulated heater with its board on a grid: whole runs, books, bits, zones, beads."""

import zlib

import numpy as np
import pytest

from emberbed.bench.prepare import load_profile, prepare
from emberbed.device_description import decode_settings
from emberbed.records import decode_record
from emberbed.rehearse import bench_of
from emberbed_fw import run_states as rs
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_parameters import GridBench, GridBoard, chip_part
from emberbed_sim.plant.grid_thermal import GridThermal
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import (
    ChipParameters,
)
from emberbed_sim.plant.switches import OUT_CONTACTOR, OUT_FAN
from tests.support.grid_heaters import BENCH, books, drive, grid_heater, map_c, warm

BUSY = (
    "hot_bench@0s", "hot_air_wanders@5s:20s", "draught@8s", "tape_creep@1s#1", "finger@3s",
    "bead_touched@12s#2", "bead_lifted@15s:4s", "bead_grounded@22s#1", "cold_chip@18s",
)  # fmt: skip
LUMPED_CRC = 0x1134425E


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
