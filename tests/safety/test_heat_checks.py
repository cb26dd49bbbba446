"""Proofs of the checks on heat: over-temperature, lost PC link, late tick, failing program."""

import pytest

from emberbed_fw import messages, record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.main_loop import one_tick
from emberbed_fw.plan import ROLE_CHIP_TOP
from emberbed_fw.safety_limits import (
    ACK_AGE_TICKS,
    DOUBTFUL_TICKS_TO_LATCH,
    HARD_CEILING_CDEG,
    LATE_TICK_MS,
    LEASE_TICKS,
    OVERRUN_TICK_MS,
)
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import (
    assert_dark,
    assert_never_heats_again,
    assert_tripped,
    heating,
    reading_of,
    until_tripped,
    word_above,
)
from tests.support.bench import short_plan

# C05: over-temperature, on a chip while the control sensor still asks for power.

HOT_C = 100.0


def hot_chip(limit_cdeg):
    """Return a heating bench whose chip will read HOT_C against this limit."""
    return heating(short_plan(limit1_cdeg=limit_cdeg, role1=ROLE_CHIP_TOP))


def get_hot(bench):
    bench.board_c = [25.0, HOT_C]


@pytest.mark.check("C05", proves="acts")
def test_over_temperature_acts():
    bench = hot_chip(reading_of(HOT_C) - 1)
    get_hot(bench)
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert_tripped(bench, trip_codes.OVER_TEMPERATURE)


@pytest.mark.check("C05", proves="acts")
@pytest.mark.parametrize("channel", [0, 1])
def test_hard_ceiling_acts_whatever_the_plan_says(channel):
    bench = heating(short_plan(limit0_cdeg=HARD_CEILING_CDEG, limit1_cdeg=HARD_CEILING_CDEG))
    bench.machine.plan.limit_cdeg[channel] = 99999  # a plan that the check should have refused
    bench.machine.settings.ceiling_cdeg[channel] = 99999
    bench.sum_anew()
    bench.raw = {channel: word_above(HARD_CEILING_CDEG)}
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert_tripped(bench, trip_codes.OVER_TEMPERATURE)


@pytest.mark.check("C05", proves="in_time")
def test_over_temperature_acts_in_time():
    bench = hot_chip(reading_of(HOT_C) - 1)
    get_hot(bench)
    bench.tick()
    assert not bench.heats, "permission goes in the tick that reads it"
    assert 1 + until_tripped(bench, 10) <= ticks_allowed("C05")


@pytest.mark.check("C05", proves="quiet")
def test_board_at_its_limit_is_quiet():
    bench = hot_chip(reading_of(HOT_C))
    get_hot(bench)
    bench.tick(200)
    assert bench.heats and bench.trip == trip_codes.NO_TRIP


@pytest.mark.check("C05", proves="stays")
def test_over_temperature_stays():
    bench = hot_chip(reading_of(HOT_C) - 1)
    get_hot(bench)
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert_never_heats_again(bench, trip_codes.OVER_TEMPERATURE)


# C06: the PC link is lost. Not a trip, but as final for this run.


@pytest.mark.check("C06", proves="acts")
def test_lost_link_acts():
    bench = heating()
    bench.renews = False
    bench.tick(LEASE_TICKS)
    assert bench.state == rs.COOL and bench.record.verdict == rs.LINK_LOST
    assert bench.record.withheld & trip_codes.WITHHELD_LEASE
    assert_dark(bench)


@pytest.mark.check("C06", proves="in_time")
def test_lost_link_acts_in_time():
    bench = heating()
    bench.renews = False
    assert bench.until(rs.COOL) <= ticks_allowed("C06")
    assert_dark(bench)


@pytest.mark.check("C06", proves="quiet")
def test_link_that_renews_in_the_last_moment_is_quiet():
    bench = heating()
    for _ in range(10):
        bench.renews = False
        bench.tick(LEASE_TICKS - 1)
        assert bench.heats
        bench.renews = True
        bench.tick()
    assert bench.heats and bench.state == rs.RUN


@pytest.mark.check("C06", proves="quiet")
def test_renewal_of_a_record_that_is_just_new_enough_is_quiet():
    bench = heating()
    bench.renews = False
    for _ in range(60):
        newest = bench.machine.tick
        bench.send(messages.RENEW, (newest - ACK_AGE_TICKS).to_bytes(4, "little"))
        bench.tick()
        assert bench.heats


@pytest.mark.check("C06", proves="stays")
def test_lost_link_stays():
    bench = heating()
    bench.renews = False
    bench.tick(LEASE_TICKS)
    bench.renews = True
    for _ in range(300):
        bench.tick()
        assert bench.state == rs.COOL
        assert_dark(bench)
    bench.until(rs.LINK_LOST)
    bench.press()
    bench.tick(100)
    assert bench.state == rs.LINK_LOST
    assert_dark(bench)


# C07: a tick that comes too late.


@pytest.mark.check("C07", proves="acts")
def test_overrun_acts():
    bench = heating()
    bench.elapsed_ms = OVERRUN_TICK_MS + 1
    bench.tick()
    assert_tripped(bench, trip_codes.TICK_OVERRUN)


@pytest.mark.check("C07", proves="in_time")
def test_overrun_acts_in_time():
    bench = heating()
    bench.elapsed_ms = OVERRUN_TICK_MS + 1
    assert until_tripped(bench, 10) <= ticks_allowed("C07")
    assert_dark(bench)


@pytest.mark.check("C07", proves="quiet")
def test_tick_that_is_just_not_late_is_quiet():
    bench = heating()
    bench.elapsed_ms = LATE_TICK_MS
    for _ in range(50):
        bench.tick()
        assert bench.heats


@pytest.mark.check("C07", proves="quiet")
def test_late_tick_only_goes_without_heat():
    bench = heating()
    bench.elapsed_ms = OVERRUN_TICK_MS
    bench.tick(50)
    assert not bench.heats and bench.trip == trip_codes.NO_TRIP
    bench.elapsed_ms = 100
    bench.tick(2)
    assert bench.heats


@pytest.mark.check("C07", proves="stays")
def test_overrun_stays():
    bench = heating()
    bench.elapsed_ms = OVERRUN_TICK_MS + 1
    bench.tick()
    bench.elapsed_ms = 100
    assert_never_heats_again(bench, trip_codes.TICK_OVERRUN)


# C15: an exception in a turn of the program.


class TablePort:
    """The bench as a device port; `fails` makes its next sample raise."""

    def __init__(self, bench):
        self.bench = bench
        self.fails = False
        self.pins = (1, record.OUT_CONTACTOR)  # as the last tick left them

    def sample(self, inputs):
        if self.fails:
            raise OSError("the bus hangs")
        self.bench.sample(inputs)

    def drive(self, zones, outputs):
        self.pins = (zones, outputs)

    def all_off(self):
        self.pins = (0, 0)


def failing():
    bench = heating()
    port = TablePort(bench)
    port.fails = True
    return bench, port


@pytest.mark.check("C15", proves="acts")
def test_exception_acts():
    bench, port = failing()
    one_tick(bench.machine, port)
    assert port.pins[0] == 0 and not port.pins[1] & record.OUT_CONTACTOR
    bench.tick()
    assert_tripped(bench, trip_codes.FIRMWARE_ERROR)


@pytest.mark.check("C15", proves="in_time")
def test_exception_acts_in_time():
    bench, port = failing()
    before = bench.machine.tick
    while port.pins[0] or port.pins[1] & record.OUT_CONTACTOR:
        one_tick(bench.machine, port)
        assert bench.machine.tick - before <= ticks_allowed("C15")
    assert_dark(bench)


@pytest.mark.check("C15", proves="quiet")
def test_turn_without_an_exception_is_quiet():
    bench, port = failing()
    port.fails = False
    for _ in range(LEASE_TICKS - 1):
        one_tick(bench.machine, port)
        assert port.pins[0] == 1 and port.pins[1] & record.OUT_CONTACTOR
    assert bench.trip == trip_codes.NO_TRIP


@pytest.mark.check("C15", proves="stays")
def test_exception_stays():
    bench, port = failing()
    one_tick(bench.machine, port)
    assert_never_heats_again(bench, trip_codes.FIRMWARE_ERROR)
