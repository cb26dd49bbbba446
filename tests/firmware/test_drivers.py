"""Converter drivers on register-level chips: bit by bit, in the right mode, at the right times.

The chips are sim/emberbed_sim/plant/chip_*.py, written from datasheets apart from the drivers.
"""

import pytest

from emberbed_fw import settings as layout
from emberbed_fw import trip_codes
from emberbed_fw.drivers.max6675 import PERIOD_TICKS
from emberbed_fw.drivers.spi_bus import SpiBus
from emberbed_sim.plant.chip_max6675 import Max6675Chip
from emberbed_sim.plant.chip_max31855 import Max31855Chip
from emberbed_sim.plant.converter import type_k_mv
from emberbed_sim.plant.converter_words import believed_c, word_of
from emberbed_sim.plant.spi_chip import Felt
from tests.support.one_chip import TICK_MS, OneChip, fine
from tests.support.spi_pins import bus_of


def linear():
    return OneChip(Max31855Chip(), layout.CONVERTER_MAX31855K)


def coarse():
    return OneChip(Max6675Chip(), layout.CONVERTER_MAX6675)


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
