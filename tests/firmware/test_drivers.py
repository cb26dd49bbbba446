"""Converter drivers on register-level chips: bit by bit, in the right mode, at the right times.

The chips are sim/emberbed_sim/plant/chip_*.py, written from datasheets apart from the drivers.
"""

import pytest
import thermocouple_its90

from emberbed_fw import converters, trip_codes
from emberbed_fw import settings as layout
from emberbed_fw.drivers.max6675 import PERIOD_TICKS, Max6675
from emberbed_fw.drivers.max31855 import Max31855
from emberbed_fw.drivers.max31856 import Max31856
from emberbed_fw.drivers.ntc import Ntc
from emberbed_fw.drivers.spi_bus import SpiBus
from emberbed_fw.thermistor import B_K
from emberbed_fw.units import NO_READING_CDEG
from emberbed_sim.plant.chip_max6675 import Max6675Chip
from emberbed_sim.plant.chip_max31855 import Max31855Chip
from emberbed_sim.plant.chip_max31856 import POWER_UP, Max31856Chip
from emberbed_sim.plant.converter import type_k_mv
from emberbed_sim.plant.converter_words import believed_c, word_of
from emberbed_sim.plant.spi_chip import Felt
from tests.support.spi_pins import bus_of

K_OPTIONS = layout.COUPLE_TYPES.index("K")
TICK_MS = 100
CURVES = {name: getattr(thermocouple_its90, f"Type{name}") for name in layout.COUPLE_TYPES}


def by_library(couple, emf_mv, cold_c):
    """The chip's curve, by a library that is not ours."""
    curve = CURVES[layout.COUPLE_TYPES[couple]]
    return curve.temperature(emf_mv + curve.emf(cold_c))


class OneChip:
    """A driver and its chip, tick by tick."""

    def __init__(self, chip, kind, options=0):
        self.chip, self.kind, self.options = chip, kind, options
        self.spi, self.lines, (self.select,) = bus_of(chip)
        bus = SpiBus(self.spi)
        make = {
            layout.CONVERTER_MAX31855K: lambda: Max31855(bus, self.select),
            layout.CONVERTER_MAX31856: lambda: Max31856(bus, self.select, options),
            layout.CONVERTER_MAX6675: lambda: Max6675(bus, self.select),
        }
        self.driver = make[kind]()
        self.words = bytearray(32)
        self.fresh = False

    def feel(self, hot_c, cold_c=25.0, **faults):
        emf_mv = type_k_mv(hot_c) - type_k_mv(cold_c)
        self.chip.feel(Felt(emf_mv, cold_c, **faults))
        return self

    def tick(self, count=1):
        for _ in range(count):
            self.lines.pass_ms(TICK_MS)
            self.fresh = self.driver.read(self.words, 0)
            assert self.select.level == 1
        return self

    @property
    def halves(self):
        return converters.high_half(self.words, 0), converters.low_half(self.words, 0)

    @property
    def fault(self):
        return converters.find_fault(self.kind, *self.halves)

    @property
    def hot_c(self):
        cdeg = converters.hot_cdeg(self.kind, self.options, *self.halves)
        return None if cdeg == NO_READING_CDEG else cdeg / 100


def linear():
    return OneChip(Max31855Chip(), layout.CONVERTER_MAX31855K)


def coarse():
    return OneChip(Max6675Chip(), layout.CONVERTER_MAX6675)


def fine(options=K_OPTIONS):
    return OneChip(Max31856Chip(by_library), layout.CONVERTER_MAX31856, options)


EVERY_KIND = {"MAX31855K": (linear, 0.3), "MAX31856": (fine, 0.1), "MAX6675": (coarse, 0.6)}


@pytest.mark.parametrize(("make", "within_c"), EVERY_KIND.values(), ids=EVERY_KIND)
@pytest.mark.parametrize("hot_c", [25.0, 90.0, 183.0, 217.0, 260.0])
def test_couple_is_read_through_pins_chip_driver_and_decoder(make, within_c, hot_c):
    one = make().feel(hot_c).tick(10)
    assert one.fresh and one.fault == trip_codes.NO_TRIP
    assert one.hot_c == pytest.approx(hot_c, abs=within_c)


@pytest.mark.parametrize(("make", "_within"), EVERY_KIND.values(), ids=EVERY_KIND)
def test_driver_gives_the_word_that_the_plant_gives_without_pins(make, _within):
    # the virtual device hands over these words directly
    one = make().feel(150.0, 31.0).tick(10)
    name = layout.CONVERTER_NAMES[one.kind]
    emf_mv = type_k_mv(150.0) - type_k_mv(31.0)
    expected = word_of(name, believed_c(name, emf_mv, 31.0), 31.0, 0)
    assert bytes(one.words[:4]).hex() == expected.to_bytes(4, "big").hex()


@pytest.mark.parametrize(("make", "_within"), EVERY_KIND.values(), ids=EVERY_KIND)
def test_open_couple_is_named(make, _within):
    one = make().feel(90.0).tick(10)
    one.feel(90.0, is_open=True).tick(17)  # a MAX31856 tests once in 16 conversions
    assert one.fault == trip_codes.SENSOR_OPEN
    one.feel(90.0).tick(18)
    assert one.fault == trip_codes.NO_TRIP


@pytest.mark.parametrize(
    ("make", "felt", "fault"),
    [
        (linear, {"to_ground": True}, trip_codes.SENSOR_SHORT_GROUND),
        (linear, {"to_supply": True}, trip_codes.SENSOR_SHORT_SUPPLY),
        (fine, {"to_ground": True}, trip_codes.SENSOR_SHORT_SUPPLY),
        (fine, {"to_supply": True}, trip_codes.SENSOR_SHORT_SUPPLY),
    ],
)
def test_shorts_are_named_where_the_chip_sees_them(make, felt, fault):
    assert make().feel(90.0, **felt).tick(5).fault == fault


def test_bus_never_runs_faster_than_the_slowest_chip_bears():
    # MAX6675: 4.3 MHz, the others 5 MHz
    for make, _within in EVERY_KIND.values():
        assert 0 < make().feel(90.0).tick(4).spi.most_baud <= 4_300_000


@pytest.mark.parametrize(("make", "_within"), EVERY_KIND.values(), ids=EVERY_KIND)
def test_select_ends_high_when_the_bus_fails(make, _within):
    one = make().feel(90.0).tick(5)
    one.spi.fails = True
    with pytest.raises(OSError):
        one.tick(3)
    assert one.select.level == 1
    one.spi.fails = False
    assert one.tick(6).fresh and one.fault == trip_codes.NO_TRIP


@pytest.mark.parametrize(("make", "_within"), EVERY_KIND.values(), ids=EVERY_KIND)
@pytest.mark.parametrize("line", [0, 1])
def test_nobody_at_the_other_end_is_no_reading(make, _within, line):
    one = make()
    one.lines.chips = {}
    one.lines._data = lambda: line
    one.tick(8)
    assert one.fault != trip_codes.NO_TRIP or not one.fresh
    assert one.fault == trip_codes.SENSOR_BUS_DEAD


# MAX31855K


def test_max31855_has_no_word_before_its_first_conversion():
    one = linear().feel(90.0).tick(1)
    assert one.fault == trip_codes.SENSOR_BUS_DEAD
    assert one.tick(2).fault == trip_codes.NO_TRIP


# MAX6675


def test_max6675_is_left_alone_for_its_conversion_time():
    one = coarse().feel(90.0).tick(30)
    assert one.select.selections == 30 // PERIOD_TICKS
    assert PERIOD_TICKS * TICK_MS >= 220  # its datasheet's longest conversion
    assert one.feel(120.0).tick(2 * PERIOD_TICKS).hot_c == pytest.approx(120.0, abs=0.6)


def test_max6675_asked_in_every_tick_would_never_change():
    # the chip's rule that the driver is built around
    one = coarse().feel(90.0).tick(6)
    before = bytes(one.words[:2])
    one.feel(200.0)
    for _ in range(30):
        one.driver._wait_ticks = 1
        one.tick()
    assert bytes(one.words[:2]) == before


def test_max6675_has_nothing_fresh_before_its_first_word():
    one = coarse().feel(90.0)
    assert [one.tick().fresh for _ in range(4)] == [False, False, True, True]


def test_max6675_word_that_failed_is_not_fresh_in_between():
    one = coarse().feel(90.0).tick(3)
    one.spi.fails = True
    one.tick(2)
    with pytest.raises(OSError):
        one.tick()
    assert not one.tick().fresh


# facts of the datasheet: word of 0.25 degC steps, D2 = open
@pytest.mark.parametrize(
    ("celsius", "word"), [(25, 0x0320), (100, 0x0C80), (217, 0x1B20), (250, 0x1F40)]
)
def test_max6675_words(celsius, word):
    chip = Max6675Chip()
    chip.feel(Felt((celsius - 25) * 0.041, 25.0))
    spi, lines, (select,) = bus_of(chip)
    lines.pass_ms(220)
    got = bytearray(2)
    SpiBus(spi).read(select, 0, got)
    assert int.from_bytes(got, "big") == word
    lines.pass_ms(10)
    chip.feel(Felt((celsius - 25) * 0.041, 25.0, is_open=True))
    lines.pass_ms(220)
    SpiBus(spi).read(select, 0, got)
    assert int.from_bytes(got, "big") == word | 4


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


# The heatsink's thermistor.


@pytest.mark.parametrize("table", [0, 1])
@pytest.mark.parametrize("celsius", [-5.0, 20.0, 25.0, 60.0, 85.0, 118.0])
def test_thermistor_by_its_material_constant(table, celsius):
    share = 1 / (1 + pow(2.718281828459045, -B_K[table] * (1 / (celsius + 273.15) - 1 / 298.15)))
    adc = type("Adc", (), {"read_u16": staticmethod(lambda: round(65535 * share))})
    words = bytearray(32)
    assert Ntc(adc).read(words, 1)
    high, low = converters.high_half(words, 1), converters.low_half(words, 1)
    kind = layout.CONVERTER_THERMISTOR
    assert converters.find_fault(kind, high, low) == trip_codes.NO_TRIP
    assert converters.hot_cdeg(kind, table, high, low) == pytest.approx(celsius * 100, abs=50)


@pytest.mark.parametrize(
    ("ratio", "fault"),
    [
        (0, trip_codes.SENSOR_SHORT_GROUND), (65535, trip_codes.SENSOR_OPEN),
        (32768, trip_codes.NO_TRIP),
    ],
)  # fmt: skip
def test_thermistor_that_is_shorted_or_off_is_named(ratio, fault):
    adc = type("Adc", (), {"read_u16": staticmethod(lambda: ratio)})
    words = bytearray(32)
    Ntc(adc).read(words, 0)
    high, low = converters.high_half(words, 0), converters.low_half(words, 0)
    assert converters.find_fault(layout.CONVERTER_THERMISTOR, high, low) == fault
