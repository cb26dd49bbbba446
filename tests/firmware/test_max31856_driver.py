"""The MAX31856 by its driver, as in its datasheet; and three kinds of chips on one bus."""

import pytest

from emberbed_fw import converters, trip_codes
from emberbed_fw import settings as layout
from emberbed_fw.drivers.max6675 import Max6675
from emberbed_fw.drivers.max31855 import Max31855
from emberbed_fw.drivers.max31856 import Max31856
from emberbed_fw.drivers.spi_bus import SpiBus
from emberbed_sim.plant.chip_max6675 import Max6675Chip
from emberbed_sim.plant.chip_max31855 import Max31855Chip
from emberbed_sim.plant.chip_max31856 import POWER_UP, Max31856Chip
from emberbed_sim.plant.converter import type_k_mv
from emberbed_sim.plant.spi_chip import Felt
from tests.support.one_chip import CURVES, K_OPTIONS, TICK_MS, OneChip, by_library, fine
from tests.support.spi_pins import bus_of

# MAX31856


def test_max31856_powers_up_as_in_its_datasheet():
    chip = Max31856Chip()
    spi, _lines, (select,) = bus_of(chip)
    got = bytearray(17)
    SpiBus(spi).exchange(select, 1, bytes(17), got)
    assert got[1:] == bytes(POWER_UP)
    assert got[1:11].hex() == "0003ff7fc07fff800000"  # from memory


@pytest.mark.parametrize("mode", [(0, 1), (1, 1)])
def test_max31856_speaks_modes_1_and_3(mode):
    chip = Max31856Chip()
    _spi, lines, (select,) = bus_of(chip)
    lines.rest_at(mode[0])
    select(0)
    assert lines.exchange(b"\x01\x00\x00", *mode)[1:] == b"\x03\xff"
    select(1)


@pytest.mark.parametrize("mode", [(0, 0), (1, 0)])
def test_max31856_in_a_wrong_mode_reads_other_bits(mode):
    chip = Max31856Chip()
    _spi, lines, (select,) = bus_of(chip)
    lines.rest_at(mode[0])
    select(0)
    assert lines.exchange(b"\x01\x00\x00", *mode)[1:] != b"\x03\xff"
    select(1)


def test_max31856_is_set_up_once_and_by_the_rules():
    one = fine(K_OPTIONS | 1 << layout.AVERAGE_SHIFT | layout.FILTER_50_HZ).feel(90.0)
    one.tick(20)
    assert one.chip.registers[:2] == [0x91, 0x13]  # automatic, open test, 50 Hz; two of type K
    assert one.chip.misused == []
    assert one.select.selections == 20 + 3  # each tick once, three writes for the setup


def test_max31856_says_nothing_is_fresh_before_its_first_conversion():
    one = fine(K_OPTIONS | layout.FILTER_50_HZ).feel(90.0)
    fresh = [one.tick().fresh for _ in range(6)]
    assert fresh == [False, False, False, True, True, True]


@pytest.mark.parametrize("average", [0, 1, 2])
@pytest.mark.parametrize("filter_bit", [0, layout.FILTER_50_HZ])
def test_first_fresh_word_of_a_max31856_is_a_conversion(average, filter_bit):
    one = fine(K_OPTIONS | average << layout.AVERAGE_SHIFT | filter_bit).feel(137.0)
    while not one.fresh:
        one.tick()
    assert one.hot_c == pytest.approx(137.0, abs=0.1)


def test_max31856_that_lost_its_supply_is_told_and_set_up_anew():
    one = fine().feel(90.0).tick(10)
    one.chip.power_up()
    one.tick()
    assert one.fault == trip_codes.SENSOR_BUS_DEAD and not one.fresh
    one.tick(6)
    assert one.fresh and one.fault == trip_codes.NO_TRIP
    assert one.hot_c == pytest.approx(90.0, abs=0.1)


def test_max31856_with_one_flipped_setting_is_set_up_anew():
    for register in range(10):
        one = fine().feel(90.0).tick(10)
        one.chip.registers[register] ^= 0x04 if register else 0x01
        one.tick()
        assert one.fault == trip_codes.SENSOR_BUS_DEAD, register
        assert one.tick(6).fresh and one.fault == trip_codes.NO_TRIP


@pytest.mark.parametrize(
    ("status", "fault"),
    [
        (0x01, trip_codes.SENSOR_OPEN), (0x02, trip_codes.SENSOR_SHORT_SUPPLY),
        (0x40, trip_codes.SENSOR_RANGE), (0x80, trip_codes.SENSOR_RANGE),
        (0x04, trip_codes.SENSOR_RANGE), (0x08, trip_codes.SENSOR_RANGE),
        (0x10, trip_codes.SENSOR_RANGE), (0x20, trip_codes.SENSOR_RANGE),
    ],
)  # fmt: skip
def test_every_bit_of_the_status_register_is_a_fault(status, fault):
    one = fine().feel(90.0).tick(10)
    one.chip.registers[0x0F] = status
    one.chip.pass_ms = lambda _ms: None
    assert one.tick().fault == fault


# hot degC and its 24 bits, cold degC and its 16 bits: the datasheet's tables by its scale
HOT_BITS = [
    (1600, "640000"), (1000, "3e8000"), (100.9375, "064f00"), (25, "019000"), (0.0625, "000100"),
    (-0.0625, "ffff00"), (-1, "fff000"), (-250, "f06000"),
]  # fmt: skip
COLD_BITS = [
    (127, "7f00"), (125, "7d00"), (64, "4000"), (25, "1900"), (0.5, "0080"), (0.015625, "0004"),
    (-25, "e700"), (-55, "c900"),
]  # fmt: skip


@pytest.mark.parametrize(("celsius", "bits"), HOT_BITS)
def test_max31856_hot_bits(celsius, bits):
    chip = Max31856Chip(curve=lambda _couple, _mv, _cold: celsius)
    chip.registers[0] = 0x80
    chip.pass_ms(110)
    assert bytes(chip.registers[0x0C:0x0F]).hex() == bits
    words = bytes.fromhex(bits)[:2] + b"\x19\x00"
    high, low = converters.high_half(words, 0), converters.low_half(words, 0)
    kind = layout.CONVERTER_MAX31856
    assert converters.hot_cdeg(kind, K_OPTIONS, high, low) == pytest.approx(celsius * 100, abs=0.5)


@pytest.mark.parametrize(("celsius", "bits"), COLD_BITS)
def test_max31856_cold_bits(celsius, bits):
    chip = Max31856Chip(curve=lambda _couple, _mv, _cold: 25.0)
    chip.feel(Felt(0.0, celsius))
    chip.registers[0] = 0x80
    chip.pass_ms(110)
    assert bytes(chip.registers[0x0A:0x0C]).hex() == bits
    low = int(bits, 16) & 0xFFE0
    sixteenths = converters.cold_sixteenths(layout.CONVERTER_MAX31856, low)
    assert sixteenths / 16 == pytest.approx(celsius, abs=0.125)


@pytest.mark.parametrize("name", layout.COUPLE_TYPES)
def test_every_couple_type_is_asked_for_by_its_number(name):
    hot_c, cold_c = 300.0, 25.0
    chip = Max31856Chip(curve=by_library)
    one = OneChip(chip, layout.CONVERTER_MAX31856, layout.COUPLE_TYPES.index(name))
    chip.feel(Felt(CURVES[name].emf(hot_c) - CURVES[name].emf(cold_c), cold_c))
    one.tick(6)
    assert one.hot_c == pytest.approx(hot_c, abs=0.2)
    assert chip.registers[1] == layout.COUPLE_TYPES.index(name)


def test_max31856_keeps_a_latched_fault_until_it_is_cleared():
    chip = Max31856Chip()
    chip.registers[0] = 0x84  # latching
    chip.feel(Felt(1.0, 25.0, to_supply=True))
    chip.pass_ms(90)
    chip.feel(Felt(1.0, 25.0))
    chip.pass_ms(90)
    assert chip.registers[0x0F] == 0x02
    spi, _lines, (select,) = bus_of(chip)
    SpiBus(spi).write(select, 1, b"\x80\x86")
    assert chip.registers[0x0F] == 0 and chip.registers[0] == 0x84


def test_max31856_one_shot_takes_its_time_and_ends():
    chip = Max31856Chip()
    spi, _lines, (select,) = bus_of(chip)
    chip.feel(Felt(type_k_mv(90.0) - type_k_mv(25.0), 25.0))
    SpiBus(spi).write(select, 1, b"\x80\x40")
    chip.pass_ms(150)
    assert chip.registers[0] == 0x40 and chip.registers[0x0C:0x0F] == [0, 0, 0]
    chip.pass_ms(5)
    assert chip.registers[0] == 0 and chip.registers[0x0C] == 0x05


def test_filter_changed_while_converting_is_noticed_by_the_chip():
    chip = Max31856Chip()
    spi, _lines, (select,) = bus_of(chip)
    SpiBus(spi).write(select, 1, b"\x80\x90")
    SpiBus(spi).write(select, 1, b"\x80\x91")
    assert chip.misused == ["filter changed while it converts"]


# One bus for all.


def test_three_kinds_share_a_bus_and_each_keeps_its_mode():
    chips = (Max31855Chip(), Max31856Chip(), Max6675Chip())
    spi, lines, selects = bus_of(*chips)
    bus = SpiBus(spi)
    drivers = (
        Max31855(bus, selects[0]), Max31856(bus, selects[1], K_OPTIONS), Max6675(bus, selects[2]),
    )  # fmt: skip
    words = bytearray(32)
    for chip, hot_c in zip(chips, (90.0, 120.0, 150.0), strict=True):
        chip.feel(Felt(type_k_mv(hot_c) - type_k_mv(25.0), 25.0))
    for _ in range(8):
        lines.pass_ms(TICK_MS)
        fresh = [driver.read(words, channel) for channel, driver in enumerate(drivers)]
    assert fresh == [True] * 3
    kinds = (layout.CONVERTER_MAX31855K, layout.CONVERTER_MAX31856, layout.CONVERTER_MAX6675)
    read_c = [
        converters.hot_cdeg(
            kind, 0, converters.high_half(words, channel), converters.low_half(words, channel)
        ) / 100
        for channel, kind in enumerate(kinds)
    ]  # fmt: skip
    assert read_c == pytest.approx([90.0, 120.0, 150.0], abs=0.6)
