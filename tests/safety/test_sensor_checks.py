"""Proofs of the checks on sensors: fault bits, dead bus, stale words, impossible readings."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import (
    COLD_PROOF_GOOD_TICKS,
    DOUBTFUL_TICKS_TO_LATCH,
    LEAST_VALID_CDEG,
    MOST_VALID_CDEG,
    PRESS_HELD_TICKS,
    PRESS_RELEASED_TICKS,
)
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import (
    GOOD,
    assert_dark,
    assert_never_heats_again,
    assert_tripped,
    heating,
    until_tripped,
    word_above,
    word_below,
)
from tests.support.bench import Bench

FAULT_BITS = {
    trip_codes.SENSOR_OPEN: 0x00010001,
    trip_codes.SENSOR_SHORT_GROUND: 0x00010002,
    trip_codes.SENSOR_SHORT_SUPPLY: 0x00010004,
}


# A doubtful reading has one shape for all sensor checks: `spoil` puts it on, `mend` takes it off.


def assert_doubt_acts(spoil, code):
    bench = heating()
    spoil(bench)
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert_tripped(bench, code)


def assert_doubt_acts_in_time(spoil, check):
    bench = heating()
    spoil(bench)
    bench.tick()
    assert not bench.heats, "permission goes in the tick that reads it"
    assert 1 + until_tripped(bench, 10) <= ticks_allowed(check)


def assert_doubt_is_quiet(spoil, mend):
    """Two doubtful readings in a row, again and again, are no trip; the next good one heats."""
    bench = heating()
    for _ in range(10):
        spoil(bench)
        bench.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
        assert not bench.heats
        mend(bench)
        bench.tick(2)
        assert bench.heats
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.RUN


def assert_doubt_stays(spoil, mend, code):
    bench = heating()
    spoil(bench)
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    mend(bench)
    assert_never_heats_again(bench, code)


def says(channel, raw):
    return lambda bench: bench.raw.update({channel: raw})


def healthy(bench):
    bench.raw = {}
    bench.bus_error = False
    bench.fresh_channels = 0xFF


# C01: a fault bit of the converter.


@pytest.mark.check("C01", proves="acts")
@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("code", FAULT_BITS)
def test_fault_bit_acts(channel, code):
    assert_doubt_acts(says(channel, GOOD | FAULT_BITS[code]), code)


@pytest.mark.check("C01", proves="in_time")
@pytest.mark.parametrize("code", FAULT_BITS)
def test_fault_bit_acts_in_time(code):
    assert_doubt_acts_in_time(says(0, GOOD | FAULT_BITS[code]), "C01")


@pytest.mark.check("C01", proves="quiet")
@pytest.mark.parametrize("code", FAULT_BITS)
def test_fault_bit_that_goes_again_is_quiet(code):
    assert_doubt_is_quiet(says(0, GOOD | FAULT_BITS[code]), healthy)


@pytest.mark.check("C01", proves="stays")
@pytest.mark.parametrize("code", FAULT_BITS)
def test_fault_bit_stays(code):
    assert_doubt_stays(says(0, GOOD | FAULT_BITS[code]), healthy, code)


# C02: a dead bus.


def bus_error(bench):
    bench.bus_error = True


DEAD = {
    "all nought": says(0, 0),
    "all one": says(0, 0xFFFFFFFF),
    "reserved bit D17": says(1, GOOD | 1 << 17),
    "reserved bit D3": says(1, GOOD | 1 << 3),
    "summary bit alone": says(0, GOOD | 1 << 16),
    "bus error": bus_error,
}
every_dead_bus = pytest.mark.parametrize("spoil", DEAD.values(), ids=DEAD)


@pytest.mark.check("C02", proves="acts")
@every_dead_bus
def test_dead_bus_acts(spoil):
    assert_doubt_acts(spoil, trip_codes.SENSOR_BUS_DEAD)


@pytest.mark.check("C02", proves="in_time")
@every_dead_bus
def test_dead_bus_acts_in_time(spoil):
    assert_doubt_acts_in_time(spoil, "C02")


@pytest.mark.check("C02", proves="quiet")
@every_dead_bus
def test_bus_that_lives_again_is_quiet(spoil):
    assert_doubt_is_quiet(spoil, healthy)


@pytest.mark.check("C02", proves="stays")
@every_dead_bus
def test_dead_bus_stays(spoil):
    assert_doubt_stays(spoil, healthy, trip_codes.SENSOR_BUS_DEAD)


# C03: a word without a fresh conversion.


def stale(bench):
    bench.fresh_channels = 0b01


@pytest.mark.check("C03", proves="acts")
def test_stale_word_acts():
    assert_doubt_acts(stale, trip_codes.SENSOR_STALE)


@pytest.mark.check("C03", proves="in_time")
def test_stale_word_acts_in_time():
    assert_doubt_acts_in_time(stale, "C03")


@pytest.mark.check("C03", proves="quiet")
def test_conversion_that_comes_late_is_quiet():
    assert_doubt_is_quiet(stale, healthy)


@pytest.mark.check("C03", proves="stays")
def test_stale_word_stays():
    assert_doubt_stays(stale, healthy, trip_codes.SENSOR_STALE)


# C04: a reading that no bench can have.

BEYOND = [word_above(MOST_VALID_CDEG), word_below(LEAST_VALID_CDEG)]


@pytest.mark.check("C04", proves="acts")
@pytest.mark.parametrize("raw", BEYOND, ids=hex)
def test_impossible_reading_acts(raw):
    assert_doubt_acts(says(0, raw), trip_codes.SENSOR_RANGE)


@pytest.mark.check("C04", proves="in_time")
@pytest.mark.parametrize("raw", BEYOND, ids=hex)
def test_impossible_reading_acts_in_time(raw):
    assert_doubt_acts_in_time(says(0, raw), "C04")


@pytest.mark.check("C04", proves="quiet")
def test_coldest_possible_reading_is_quiet():
    bench = Bench()
    bench.raw = dict.fromkeys((0, 1), word_above(LEAST_VALID_CDEG))
    bench.to_run().tick(100)
    assert bench.heats and bench.trip == trip_codes.NO_TRIP
    assert 0 <= bench.record.channel0_cdeg - LEAST_VALID_CDEG <= 50


@pytest.mark.check("C04", proves="quiet")
def test_hottest_possible_reading_is_no_range_fault():
    bench = heating()
    bench.raw = {1: word_below(MOST_VALID_CDEG)}
    bench.tick()
    assert bench.record.fault(1) == trip_codes.NO_TRIP
    assert 0 <= MOST_VALID_CDEG - bench.record.channel1_cdeg <= 50


@pytest.mark.check("C04", proves="stays")
@pytest.mark.parametrize("raw", BEYOND, ids=hex)
def test_impossible_reading_stays(raw):
    assert_doubt_stays(says(0, raw), healthy, trip_codes.SENSOR_RANGE)


# C16: every sensor good before the press counts.


def armed_with(raw):
    bench = Bench()
    bench.raw = raw
    bench.load()
    bench.arm()
    bench.tick(COLD_PROOF_GOOD_TICKS + PRESS_RELEASED_TICKS)
    assert bench.state == rs.COLD_PROOF
    return bench


@pytest.mark.check("C16", proves="acts")
@pytest.mark.parametrize("channel", [0, 1])
def test_bad_sensor_keeps_the_press_from_counting(channel):
    bench = armed_with({channel: GOOD | 0x00010001})
    bench.press()
    assert bench.state == rs.COLD_PROOF and bench.record.waits_for == rs.WAITS_SENSORS
    assert_dark(bench)


@pytest.mark.check("C16", proves="in_time")
def test_sensor_that_fails_under_the_press_takes_it_away_in_time():
    bench = armed_with({})
    bench.button = True
    bench.tick(PRESS_HELD_TICKS - ticks_allowed("C16"))
    assert bench.state == rs.COLD_PROOF
    bench.raw = {0: GOOD | 0x00010001}
    bench.tick(ticks_allowed("C16"))
    assert bench.state == rs.COLD_PROOF


@pytest.mark.check("C16", proves="quiet")
def test_sensors_good_for_just_long_enough_are_quiet():
    bench = armed_with({0: 0})
    bench.raw = {}
    bench.tick(COLD_PROOF_GOOD_TICKS + PRESS_RELEASED_TICKS)
    bench.button = True
    bench.tick(PRESS_HELD_TICKS)
    assert bench.state == rs.HOT_PROOF


@pytest.mark.check("C16", proves="stays")
def test_sensor_that_is_good_again_asks_for_a_new_press():
    bench = armed_with({})
    bench.button = True
    bench.tick(PRESS_HELD_TICKS - 1)
    bench.raw = {0: 0}
    bench.tick()
    bench.raw = {}
    bench.tick(200)
    assert bench.state == rs.COLD_PROOF
    assert_dark(bench)
