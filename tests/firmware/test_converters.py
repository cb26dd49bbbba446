"""Converter words to numbers and faults, against the MAX31855 datasheet's tables."""

import pytest

from emberbed_fw import converters, trip_codes
from emberbed_fw.settings import CONVERTER_MAX31855K as K
from emberbed_sim.plant.converter import convert

# MAX31855 datasheet (rev 5, page 10, tables 2 to 4): hot degC, cold-junction degC, 32-bit word.
WORDS = [
    (1600.00, 25.0, 0x64001900),
    (1600.00, 127.0, 0x64007F00),
    (1000.00, 25.0, 0x3E801900),
    (100.75, 25.0, 0x064C1900),
    (25.00, 25.0, 0x01901900),
    (-0.25, -0.0625, 0xFFFCFFF0),
    (-1.00, -1.0, 0xFFF0FF00),
    (-250.00, -55.0, 0xF060C900),
    (217.00, 30.5, 0x0D901E80),
]
# same page: cold junction alone, D15..D4
COLD = [
    (127.0, 0x7F0), (100.5625, 0x649), (25.0, 0x190), (0.0, 0x000), (-0.0625, 0xFFF),
    (-1.0, 0xFF0), (-20.0, 0xEC0), (-55.0, 0xC90),
]  # fmt: skip
# same page: D16 is 1 with any fault, D2 short to supply, D1 short to ground, D0 open
FAULTS = [
    (0x00011901, trip_codes.SENSOR_OPEN),
    (0x00011902, trip_codes.SENSOR_SHORT_GROUND),
    (0x00011904, trip_codes.SENSOR_SHORT_SUPPLY),
]
DEAD = [0x00000000, 0xFFFFFFFF]


def halves(word):
    return word >> 16, word & 0xFFFF


def fault_of(word):
    return converters.find_fault(K, *halves(word))


@pytest.mark.parametrize(("hot_c", "cold_c", "word"), WORDS)
def test_datasheet_word_decodes_to_its_two_temperatures(hot_c, cold_c, word):
    high, low = halves(word)
    assert fault_of(word) == trip_codes.NO_TRIP
    assert converters._signed(high >> 2, 14) == hot_c * 4
    assert converters.cold_sixteenths(K, low) == cold_c * 16


@pytest.mark.parametrize(("cold_c", "bits"), COLD)
def test_cold_junction_decodes_as_in_the_datasheet(cold_c, bits):
    assert converters.cold_sixteenths(K, bits << 4) == cold_c * 16


@pytest.mark.parametrize(("word", "fault"), FAULTS)
def test_each_fault_bit_is_named(word, fault):
    assert fault_of(word) == fault


@pytest.mark.parametrize(("word", "fault"), FAULTS)
def test_fault_bit_counts_without_the_summary_bit(word, fault):
    assert fault_of(word & ~0x00010000) == fault


def test_summary_bit_alone_is_no_reading():
    assert fault_of(0x01911900) == trip_codes.SENSOR_BUS_DEAD


@pytest.mark.parametrize("word", DEAD)
def test_dead_bus_is_no_reading(word):
    # all 0 would decode as a valid 0.00/0.00 degC, all 1 sets the reserved bits
    assert fault_of(word) == trip_codes.SENSOR_BUS_DEAD


@pytest.mark.parametrize("reserved", [0x00020000, 0x00000008])  # D17, D3: always 0
def test_reserved_bit_is_no_reading(reserved):
    assert fault_of(0x01901900 | reserved) == trip_codes.SENSOR_BUS_DEAD


def test_no_single_flipped_fault_or_reserved_bit_stays_unseen():
    healthy = 0x0D901E80
    assert fault_of(healthy) == trip_codes.NO_TRIP
    for bit in (0, 1, 2, 3, 16, 17):
        assert fault_of(healthy ^ 1 << bit) != trip_codes.NO_TRIP, f"D{bit}"


def test_halves_are_taken_from_the_channel_of_the_bus_buffer():
    buffer = bytes(4) + (0x0D901E80).to_bytes(4, "big") + bytes(24)
    assert converters.high_half(buffer, 1) == 0x0D90
    assert converters.low_half(buffer, 1) == 0x1E80
    assert converters.high_half(buffer, 0) == converters.low_half(buffer, 0) == 0


@pytest.mark.parametrize("hot_c", [-50.0, -0.3, 0.0, 25.0, 87.0, 183.0, 217.0, 260.0, 400.0])
@pytest.mark.parametrize("cold_c", [-10.0, 0.5, 25.0, 60.0])
def test_decodes_what_the_plant_encodes(hot_c, cold_c):
    # the plant's encoder was written apart from this decoder, from the same datasheet
    high, low = halves(convert(hot_c, cold_c))
    # half a step of 0.25 degC, half a cold step of 0.0625, the table's 0.15
    assert converters.hot_cdeg(K, 0, high, low) == pytest.approx(hot_c * 100, abs=12.5 + 3.2 + 15)
