"""Converter words of acceptance against chips at their pins, and the makers' published examples.

The encoder (hil/words.py) is held against two things that know nothing of it: the register-level
chips (sim/emberbed_sim/plant/chip_*.py) behind the firmware's own drivers, and tables of words.
"""

import pytest
import thermocouple_its90

from emberbed_fw import converters, trip_codes
from emberbed_fw import settings as layout
from emberbed_fw.drivers.max6675 import PERIOD_TICKS, Max6675
from emberbed_fw.drivers.max31855 import Max31855
from emberbed_fw.drivers.max31856 import Max31856
from emberbed_fw.drivers.spi_bus import SpiBus
from emberbed_fw.units import NO_READING_CDEG
from emberbed_hil.words import COLD_C, broken_word, word
from emberbed_sim.plant.chip_max6675 import Max6675Chip
from emberbed_sim.plant.chip_max31855 import Max31855Chip
from emberbed_sim.plant.chip_max31856 import CJTH, LTCBH, SR, Max31856Chip
from emberbed_sim.plant.spi_chip import Felt, ShiftOut
from tests.support.spi_pins import bus_of

LINEAR, FINE, COARSE = (
    layout.CONVERTER_MAX31855K, layout.CONVERTER_MAX31856, layout.CONVERTER_MAX6675,
)  # fmt: skip
TYPE_K = layout.COUPLE_TYPES.index("K")
CHIPS = {LINEAR: Max31855Chip, FINE: Max31856Chip, COARSE: Max6675Chip}
NAMES = {LINEAR: "MAX31855K", FINE: "MAX31856", COARSE: "MAX6675"}
EVERY_KIND = pytest.mark.parametrize("kind", NAMES, ids=NAMES.values())
TICK_MS = 100
TICKS = 20  # a MAX31856 looks for an open couple once in 16 conversions
K = thermocouple_its90.TypeK  # NIST Monograph 175 by a library that is not ours


def driven(kind, chip):
    """Return the word that the firmware's driver makes of a chip, and whether it is fresh."""
    spi, lines, (select,) = bus_of(chip)
    bus = SpiBus(spi)
    make = {
        LINEAR: lambda: Max31855(bus, select),
        FINE: lambda: Max31856(bus, select, TYPE_K),
        COARSE: lambda: Max6675(bus, select),
    }
    driver = make[kind]()
    words = bytearray(32)
    fresh = False
    for _tick in range(TICKS + TICKS % PERIOD_TICKS):
        lines.pass_ms(TICK_MS)
        fresh = driver.read(words, 0)
    assert fresh
    return int.from_bytes(words[:4], "big")


def chip_feeling(kind, hot_c, cold_c=COLD_C, **faults):
    chip = CHIPS[kind]()
    chip.feel(Felt(K.emf(hot_c) - K.emf(cold_c), cold_c, **faults))
    return chip


def halves(told):
    return told >> 16, told & 0xFFFF


def read_c(kind, told):
    cdeg = converters.hot_cdeg(kind, TYPE_K, *halves(told))
    return None if cdeg == NO_READING_CDEG else cdeg / 100


# One step of each converter, and of the rounding on the way.
STEP_C = {LINEAR: 0.25, FINE: 0.0625, COARSE: 0.25}
LEVELS_C = (20.0, 25.0, 64.0, 100.0, 150.0, 183.0, 217.0, 240.0, 260.0)


@EVERY_KIND
@pytest.mark.parametrize("hot_c", LEVELS_C)
def test_word_is_the_one_that_the_chip_gives(kind, hot_c):
    by_chip = driven(kind, chip_feeling(kind, hot_c))
    ours = word(kind, hot_c)
    assert read_c(kind, ours) == pytest.approx(read_c(kind, by_chip), abs=STEP_C[kind] + 0.01)
    assert converters.find_fault(kind, *halves(ours)) == trip_codes.NO_TRIP
    assert abs((ours >> 16) - (by_chip >> 16)) <= {LINEAR: 4, FINE: 1, COARSE: 8}[kind]


@EVERY_KIND
@pytest.mark.parametrize("hot_c", LEVELS_C)
def test_word_is_read_as_the_temperature_that_went_in(kind, hot_c):
    assert read_c(kind, word(kind, hot_c)) == pytest.approx(hot_c, abs=0.3)


@pytest.mark.parametrize("kind", [LINEAR, FINE], ids=["MAX31855K", "MAX31856"])
@pytest.mark.parametrize("cold_c", [-10.0, 0.0, 25.0, 31.5, 60.0])
def test_own_temperature_is_the_chips(kind, cold_c):
    by_chip = driven(kind, chip_feeling(kind, 90.0, cold_c))
    ours = word(kind, 90.0, cold_c)
    assert converters.cold_sixteenths(kind, ours & 0xFFFF) == cold_c * 16
    assert converters.cold_sixteenths(kind, by_chip & 0xFFFF) == cold_c * 16


FAULTS = [
    (LINEAR, trip_codes.SENSOR_OPEN, {"is_open": True}),
    (LINEAR, trip_codes.SENSOR_SHORT_GROUND, {"to_ground": True}),
    (LINEAR, trip_codes.SENSOR_SHORT_SUPPLY, {"to_supply": True}),
    (FINE, trip_codes.SENSOR_OPEN, {"is_open": True}),
    (FINE, trip_codes.SENSOR_SHORT_SUPPLY, {"to_supply": True}),
    (COARSE, trip_codes.SENSOR_OPEN, {"is_open": True}),
]


@pytest.mark.parametrize(("kind", "trip", "felt"), FAULTS)
def test_fault_bits_are_the_chips(kind, trip, felt):
    by_chip = driven(kind, chip_feeling(kind, COLD_C, **felt))
    ours = broken_word(kind, trip)
    bits = {LINEAR: 0x00010007, FINE: 0x0000001F, COARSE: 0x00040000}[kind]
    assert ours & bits == by_chip & bits != 0
    assert converters.find_fault(kind, *halves(ours)) == trip
    assert converters.find_fault(kind, *halves(by_chip)) == trip


@pytest.mark.parametrize(
    ("trip", "expected"),  # converter at 25 degC, MAX31855 datasheet table 2
    [(trip_codes.SENSOR_OPEN, 0x11901), (trip_codes.SENSOR_SHORT_GROUND, 0x11902),
     (trip_codes.SENSOR_SHORT_SUPPLY, 0x11904)],
)  # fmt: skip
def test_max31855_fault_words(trip, expected):
    assert broken_word(LINEAR, trip) & 0x3FFFF == expected


@EVERY_KIND
def test_fault_that_a_chip_cannot_tell_has_no_word(kind):
    told = {trip for of, trip, _felt in FAULTS if of == kind} | {trip_codes.SENSOR_BUS_DEAD}
    sensor_trips = (
        trip_codes.SENSOR_OPEN, trip_codes.SENSOR_SHORT_GROUND, trip_codes.SENSOR_SHORT_SUPPLY,
        trip_codes.SENSOR_BUS_DEAD, trip_codes.SENSOR_STALE, trip_codes.SENSOR_RANGE,
    )  # fmt: skip
    for trip in sensor_trips:
        assert (broken_word(kind, trip) is not None) == (trip in told)


# The encoder's words on a chip's output pin, or in its registers, come through the driver whole.


class Shifted(ShiftOut):
    """A chip that shifts out what it is given."""

    def __init__(self, bits, given):
        super().__init__()
        self.BITS = bits
        self.word = given

    def pass_ms(self, elapsed_ms):
        pass


def holding(kind, told):
    """Return a chip that holds this word."""
    if kind == LINEAR:
        return Shifted(32, told)
    if kind == COARSE:
        return Shifted(16, told >> 16)
    chip = Max31856Chip()
    chip.registers[LTCBH : LTCBH + 3] = [told >> 24, told >> 16 & 0xFF, 0]
    chip.registers[CJTH : CJTH + 2] = [told >> 8 & 0xFF, told & 0xE0]
    flags = {1: 0x01, 2: 0x02, 4: 0x40, 8: 0x80}  # of the status register, MAX31856 datasheet
    chip.registers[SR] = sum(bit for flag, bit in flags.items() if told & flag)
    chip.pass_ms = lambda _elapsed_ms: None
    return chip


@EVERY_KIND
@pytest.mark.parametrize("hot_c", (0.5, *LEVELS_C))
def test_word_comes_through_pins_and_driver_unchanged(kind, hot_c):
    for told in (word(kind, hot_c), *filter(None, (broken_word(kind, t) for _k, t, _f in FAULTS))):
        assert driven(kind, holding(kind, told)) == told


# Published examples: MAX31855 datasheet tables 4 and 5, MAX31856 by the scale of its registers
# (0.0078125 and 0.015625 degC), MAX6675 by its 0.25 degC steps; see the firmware's driver tests.
# No couple of type K reaches MAX31855's examples of 1600 and -250 degC against a converter at 25.
LINEAR_HOT = [(1000, 0x3E80), (100.75, 0x064C), (25, 0x0190), (0, 0x0000), (-0.25, 0xFFFC),
              (-1, 0xFFF0)]  # fmt: skip
COLD_WORDS = [(127, 0x7F00), (100.5625, 0x6490), (25, 0x1900), (0, 0x0000), (-0.0625, 0xFFF0),
              (-1, 0xFF00), (-20, 0xEC00), (-55, 0xC900)]  # fmt: skip
FINE_HOT = [(1600, 0x6400), (1000, 0x3E80), (100.9375, 0x064F), (25, 0x0190), (0.0625, 0x0001),
            (-0.0625, 0xFFFF), (-1, 0xFFF0), (-250, 0xF060)]  # fmt: skip
COARSE_HOT = [(0, 0x0000), (25, 0x0320), (100, 0x0C80), (217, 0x1B20), (250, 0x1F40)]


@pytest.mark.parametrize(("celsius", "expected"), FINE_HOT)
def test_max31856_hot_words(celsius, expected):
    assert word(FINE, celsius) >> 16 == expected


@pytest.mark.parametrize(
    ("celsius", "expected"), [(127, 0x7F00), (125, 0x7D00), (64, 0x4000), (25, 0x1900),
                              (0.5, 0x0080), (-25, 0xE700), (-55, 0xC900)],
)  # fmt: skip
def test_max31856_cold_words(celsius, expected):
    assert word(FINE, 25.0, celsius) & 0xFFE0 == expected & 0xFFE0


@pytest.mark.parametrize(("celsius", "expected"), COARSE_HOT)
def test_max6675_words_at_what_the_chip_takes_for_these_temperatures(celsius, expected):
    """The chip's line is 41 uV/K from its own 25 degC: what couple gives it that voltage?"""
    hot_c = K.temperature((celsius - COLD_C) * 0.041 + K.emf(COLD_C))
    assert word(COARSE, hot_c) >> 16 == expected


@pytest.mark.parametrize(("celsius", "expected"), LINEAR_HOT)
def test_max31855_words_at_what_the_chip_takes_for_these_temperatures(celsius, expected):
    """The chip's line is 41.276 uV/K from its own temperature."""
    hot_c = K.temperature((celsius - COLD_C) * 0.041276 + K.emf(COLD_C))
    assert word(LINEAR, hot_c) >> 16 == expected


@pytest.mark.parametrize(("celsius", "expected"), COLD_WORDS)
def test_max31855_cold_words(celsius, expected):
    assert word(LINEAR, 25.0, celsius) & 0xFFF0 == expected
