"""Every kind of converter on a simulated bench: its words, its faults, a run with all of them."""

import pytest

from emberbed.device_description import decode_settings
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.readings import UNTOLD_COLD_CDEG, Readings
from emberbed_fw.settings import CONVERTER_NAMES, Settings, settings_fit
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.converter import type_k_mv
from emberbed_sim.plant.converter_words import (
    believed_c,
    pack_max6675,
    pack_max31856,
    type_k_c,
    word_of,
)
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import CONVERTERS, bench_for_board
from tests.support.plans import build_plan, cool, hold, ramp

MIXED = ("a:board_centre:MAX31856", "b:board_edge:MAX6675", "c:board_edge:MAX31855K")
FAULTS = {
    # fault of the catalogue -> what each converter makes of it
    "tc_open": (trip_codes.SENSOR_OPEN,) * 3,
    "tc_to_supply": (
        trip_codes.SENSOR_SHORT_SUPPLY, trip_codes.SENSOR_RANGE, trip_codes.SENSOR_SHORT_SUPPLY,
    ),
    "bead_grounded": (
        trip_codes.SENSOR_SHORT_SUPPLY, trip_codes.NO_TRIP, trip_codes.SENSOR_SHORT_GROUND,
    ),
    "reading_stale": (trip_codes.SENSOR_STALE,) * 3,
}  # fmt: skip


def bench_of(*sensors):
    return bench_for_board(60, 100, 70, parse_sensors(sensors))


def read_after(ticks, *faults, sensors=MIXED):
    """Return (heater, readings) of a bench that has stood there for some ticks."""
    bench = bench_of(*sensors)
    heater = SimulatedHeater(bench, 1, [parse_fault(fault) for fault in faults])
    readings = Readings(Settings(bench_settings(bench)))
    for _ in range(ticks):
        heater.step(0, 0)
    readings.update(heater.words, heater.fresh_channels, 0)
    return heater, readings


def test_names_of_plant_and_firmware_are_the_same():
    assert set(CONVERTERS) < set(CONVERTER_NAMES)


def test_description_names_each_channels_converter():
    block = bench_settings(bench_of(*MIXED))
    assert settings_fit(block)
    kinds = [channel.converter for channel in decode_settings(block).channels[:3]]
    assert kinds == ["MAX31856", "MAX6675", "MAX31855K"]


@pytest.mark.parametrize("text", ["a:board_edge:MAX1", "a:board_edge:", "a:board_edge:x:y"])
def test_converter_that_nobody_has_is_refused(text):
    if text.endswith(":"):
        assert parse_sensors([text])[0].converter == "MAX31855K"
        return
    with pytest.raises(ValueError, match=":CONVERTER may follow, one of MAX31855K, MAX31856, "):
        parse_sensors([text])


@pytest.mark.parametrize("celsius", [-40.0, 0.0, 25.0, 100.0, 217.0, 400.0, 1000.0, 1371.0])
def test_inverse_of_the_reference_function(celsius):
    assert type_k_c(type_k_mv(celsius)) == pytest.approx(celsius, abs=1e-6)


# facts: NIST Monograph 175, type K
@pytest.mark.parametrize(("emf_mv", "celsius"), [(4.096, 100), (8.138, 200), (10.153, 250)])
def test_inverse_at_printed_values(emf_mv, celsius):
    assert type_k_c(emf_mv) == pytest.approx(celsius, abs=0.02)


@pytest.mark.parametrize("celsius", [-300.0, 1500.0])
def test_inverse_is_held_at_the_ends_of_the_table(celsius):
    assert type_k_c(-10.0 if celsius < 0 else 60.0) == (-270.0 if celsius < 0 else 1372.0)


# MAX6675 datasheet words: 0.25 degC a step, open = 4
@pytest.mark.parametrize(
    ("celsius", "word"),
    [(0, 0x0000), (25, 0x0320), (100, 0x0C80), (250, 0x1F40), (1023.75, 0x7FF8), (-5, 0x0000)],
)
def test_max6675_words(celsius, word):
    assert pack_max6675(celsius, False) == word
    assert pack_max6675(celsius, True) == word | 4


def test_linear_error_of_a_max6675_is_the_datasheets():
    # cold end 25 degC, true 217 -> 215.7: from type K and 41 uV/degC, computed apart
    emf_mv = type_k_mv(217.0) - type_k_mv(25.0)
    assert believed_c("MAX6675", emf_mv, 25.0) == pytest.approx(215.7, abs=0.06)


def test_max31856_fields_lie_where_the_driver_packs_them():
    assert pack_max31856(100.9375, 25.5, 1) == 0x064F << 16 | 0x0CC << 5 | 1
    assert pack_max31856(-1.0, -0.125, 0) == 0xFFF0 << 16 | 0x7FF << 5
    assert pack_max31856(1400.0, 130.0, 0) & 0x1F == 4 | 8


@pytest.mark.parametrize("converter", CONVERTERS)
def test_open_word_is_open_whatever_was_read(converter):
    assert word_of(converter, 0.0, 25.0, 1) != word_of(converter, 0.0, 25.0, 0)


def test_each_kind_reads_its_bead():
    heater, readings = read_after(20)
    for channel, bead_c in enumerate(heater.truth.beads_c):
        assert readings.fault[channel] == trip_codes.NO_TRIP
        assert readings.cdeg[channel] / 100 == pytest.approx(bead_c, abs=0.8)


def test_max6675_is_as_warm_as_the_first_that_tells():
    _heater, readings = read_after(20)
    assert readings.cold_cdeg[1] == readings.cold_cdeg[0] != 0
    _heater, broken = read_after(20, "tc_open@1s#0")
    assert broken.cold_cdeg[1] == UNTOLD_COLD_CDEG
    _heater, alone = read_after(20, sensors=("b:board_edge:MAX6675",))
    assert alone.cold_cdeg[0] == UNTOLD_COLD_CDEG


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("channel", [0, 1, 2])
def test_fault_is_named_as_far_as_the_converter_sees_it(fault, channel):
    _heater, readings = read_after(20, f"{fault}@1s#{channel}")
    assert readings.fault[channel] == FAULTS[fault][channel]


def test_word_of_a_max6675_stands_for_three_ticks():
    bench = bench_of("b:board_edge:MAX6675")
    heater = SimulatedHeater(bench, 1)
    words = []
    for _ in range(60):
        heater.step(1, 1)
        words.append(heater.words[:4])
        assert heater.fresh_channels == 1
    changes = [at for at in range(1, 60) if words[at] != words[at - 1]]
    assert len(changes) > 5 and all((at - changes[0]) % 3 == 0 for at in changes)


@pytest.mark.parametrize("sensors", [MIXED, MIXED[1:], MIXED[::-1]])
def test_run_goes_through_with_every_kind_in_control(sensors):
    bench = bench_of(*sensors)
    plan = build_plan([ramp(2500, 6000, 900), hold(6000, 200), cool()])
    loop = ClosedLoop(bench_settings(bench), plan, SimulatedHeater(bench, 1))
    assert len(list(loop.run())) > 2000
    assert loop.machine.life.state == rs.FINISHED
    assert loop.machine.guard.trip == trip_codes.NO_TRIP
    assert loop.heater.truth.places_c[0] < 60


@pytest.mark.parametrize("channel", [0, 1])
def test_break_in_a_run_takes_the_heat_away(channel):
    bench = bench_of(*MIXED)
    plan = build_plan([ramp(2500, 6000, 900), hold(6000, 200), cool()])
    broken = SimulatedHeater(bench, 1, [parse_fault(f"tc_open@40s#{channel}")])
    loop = ClosedLoop(bench_settings(bench), plan, broken)
    for _packed in loop.run(450):
        pass
    assert loop.machine.guard.trip == trip_codes.SENSOR_OPEN
    assert loop.machine.driven_zones == 0
