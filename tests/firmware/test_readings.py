"""Readings: which words may be believed, and what calibration does to them."""

import struct

import pytest

from emberbed_fw import converters, trip_codes
from emberbed_fw import settings as fw_settings
from emberbed_fw.readings import Readings
from emberbed_fw.safety_limits import LEAST_VALID_CDEG, MOST_VALID_CDEG
from emberbed_fw.settings import Settings
from emberbed_fw.units import CALIBRATION_ONE_Q12, NO_READING_CDEG
from tests.support.bench import OPEN_WORD, word
from tests.support.plans import bench_settings

BOTH_FRESH = 0b11


def channel(offset_cdeg=0, gain_q12=CALIBRATION_ONE_Q12):
    return ("couple", fw_settings.CONVERTER_MAX31855K, 26000, offset_cdeg, gain_q12)


def readings(*channels):
    return Readings(Settings(bench_settings(channels=channels or (channel(), channel()))))


def bus(*words):
    return struct.pack(">8I", *words, *[0] * (8 - len(words)))


def test_good_words_give_temperatures_and_cold_junctions():
    one = readings()
    one.update(bus(word(87.0), word(217.0, 30.5)), BOTH_FRESH, 0)
    # half a step of the chip's 0.25 degC, and the correction's 0.15
    assert one.cdeg[:2] == [pytest.approx(8700, abs=28), pytest.approx(21700, abs=28)]
    assert one.cold_cdeg[:2] == [2500, 3050]
    assert one.fault == [trip_codes.NO_TRIP] * 8
    assert one.all_good([True, True] + [False] * 6)


def test_absent_channels_are_never_read():
    one = readings(channel())
    one.update(bus(word(25.0), word(300.0)), 0xFF, 0)
    assert one.cdeg[1:] == [NO_READING_CDEG] * 7
    assert one.fault[1:] == [trip_codes.NO_TRIP] * 7
    assert not one.all_good([True, True] + [False] * 6)


def test_bus_error_takes_every_reading_away():
    one = readings()
    one.update(bus(word(25.0), word(25.0)), BOTH_FRESH, 1)
    assert one.fault[:2] == [trip_codes.SENSOR_BUS_DEAD] * 2
    assert one.cdeg[:2] == [NO_READING_CDEG] * 2


def test_word_without_a_fresh_conversion_is_stale():
    one = readings()
    one.update(bus(word(25.0), word(25.0)), 0b01, 0)
    assert one.fault[:2] == [trip_codes.NO_TRIP, trip_codes.SENSOR_STALE]
    assert one.cdeg[1] == NO_READING_CDEG


def test_what_a_stale_word_says_about_its_couple_counts_more():
    one = readings()
    one.update(bus(OPEN_WORD, 0), 0, 0)
    assert one.fault[:2] == [trip_codes.SENSOR_OPEN, trip_codes.SENSOR_BUS_DEAD]


def test_doubtful_reading_is_not_repeated_from_memory():
    one = readings()
    one.update(bus(word(87.0), word(87.0)), BOTH_FRESH, 0)
    one.update(bus(OPEN_WORD, word(87.0)), BOTH_FRESH, 0)
    assert one.cdeg[0] == NO_READING_CDEG
    assert one.is_good(1) and not one.is_good(0)


def test_fault_goes_with_its_cause():
    one = readings()
    one.update(bus(OPEN_WORD, word(25.0)), BOTH_FRESH, 0)
    one.update(bus(word(25.0), word(25.0)), BOTH_FRESH, 0)
    assert one.fault[0] == trip_codes.NO_TRIP and one.is_good(0)


@pytest.mark.parametrize("outside_c", [-30.0, -11.0, 352.0, 900.0])
def test_reading_outside_the_valid_range_is_refused(outside_c):
    one = readings()
    one.update(bus(word(outside_c), word(25.0)), BOTH_FRESH, 0)
    assert one.fault[0] == trip_codes.SENSOR_RANGE
    assert one.cdeg[0] == NO_READING_CDEG


@pytest.mark.parametrize("inside_c", [LEAST_VALID_CDEG / 100 + 0.5, MOST_VALID_CDEG / 100 - 0.5])
def test_reading_just_inside_the_valid_range_is_taken(inside_c):
    one = readings()
    one.update(bus(word(inside_c), word(25.0)), BOTH_FRESH, 0)
    assert one.fault[0] == trip_codes.NO_TRIP


@pytest.mark.parametrize(("near_c", "limit_cdeg", "outwards"), [
    (345.0, MOST_VALID_CDEG, 1), (-5.0, LEAST_VALID_CDEG, -1),
])  # fmt: skip
def test_limits_of_the_valid_range_themselves_are_valid(near_c, limit_cdeg, outwards):
    plain = readings(channel())
    plain.update(bus(word(near_c)), 1, 0)
    to_limit = limit_cdeg - plain.cdeg[0]
    for beyond, fault in ((0, trip_codes.NO_TRIP), (outwards, trip_codes.SENSOR_RANGE)):
        one = readings(channel(offset_cdeg=to_limit + beyond))
        one.update(bus(word(near_c)), 1, 0)
        assert one.fault[0] == fault


def test_without_calibration_the_reading_is_the_converters():
    one = readings(channel())
    one.update(bus(word(217.0)), 1, 0)
    assert one.cdeg[0] == converters.hot_cdeg(
        fw_settings.CONVERTER_MAX31855K, 0, word(217.0) >> 16, word(217.0) & 0xFFFF
    )


def test_word_outside_the_couples_table_is_a_range_fault():
    one = readings()
    one.update(bus(0x7FFC1900, word(25.0)), BOTH_FRESH, 0)  # 2047.75 degC
    assert one.fault[0] == trip_codes.SENSOR_RANGE


def test_calibration_scales_about_zero_and_then_shifts():
    plain = readings(channel())
    plain.update(bus(word(200.0)), 1, 0)
    calibrated = readings(channel(offset_cdeg=-150, gain_q12=4137))  # 1.01001
    calibrated.update(bus(word(200.0)), 1, 0)
    assert calibrated.cdeg[0] == pytest.approx(plain.cdeg[0] * 4137 / 4096 - 150, abs=0.5)


def test_range_is_judged_after_calibration():
    one = readings(channel(offset_cdeg=-2000))
    one.update(bus(word(5.0)), 1, 0)
    assert one.fault[0] == trip_codes.SENSOR_RANGE


def test_hottest_is_the_highest_good_reading():
    one = readings()
    assert one.hottest_cdeg() == NO_READING_CDEG
    one.update(bus(word(60.0), word(87.0)), BOTH_FRESH, 0)
    assert one.hottest_cdeg() == one.cdeg[1]
    one.update(bus(word(60.0), OPEN_WORD), BOTH_FRESH, 0)
    assert one.hottest_cdeg() == one.cdeg[0]
