"""Proofs of the checks around going on, a device used alone, and a couple that is pulled."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.safety_limits import GO_ON_TICKS, GO_ON_TRIPS, PANEL_TICKS, PULLED_TICKS
from emberbed_fw.units import NONE
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import assert_dark, assert_never_heats_again, assert_tripped, until_tripped
from tests.support.bench import OPEN_WORD
from tests.support.trips import HOLD, LATCHED, go_on, mend, mended, running, tripped_by

# C22: going on.


@pytest.mark.check("C22", proves="acts")
@pytest.mark.parametrize("name", ["OVER_TEMPERATURE", "HEAT_UNCOMMANDED", "TICK_OVERRUN"])
def test_trip_of_the_heater_is_not_gone_on_from(name):
    assert name in LATCHED
    bench = tripped_by(name)
    mend(bench)
    bench.tick(50)
    bench.arm(stage=HOLD)
    bench.tick(20)
    bench.press()
    bench.tick(50)
    assert bench.state == rs.COOL
    assert_dark(bench)


@pytest.mark.check("C22", proves="acts")
def test_third_trip_of_a_cause_is_not_gone_on_from():
    bench = running()
    for _ in range(GO_ON_TRIPS - 1):
        mended("SENSOR_OPEN", bench)
        go_on(bench, HOLD)
        bench.tick(20)
    tripped_by("SENSOR_OPEN", bench)
    mend(bench)
    bench.tick(50)
    bench.arm(stage=HOLD)
    bench.tick()
    assert bench.refusals[-1] == ms.WRONG_STATE and bench.state == rs.COOL


@pytest.mark.check("C22", proves="acts")
def test_nothing_heats_without_the_second_press():
    bench = mended()
    bench.acknowledge(GO_ON_PROMPT)
    bench.arm(stage=HOLD)
    while bench.tick() == rs.COLD_PROOF:
        assert_dark(bench)
    assert bench.state == rs.COOL and bench.record.verdict == rs.STOPPED


@pytest.mark.check("C22", proves="in_time")
def test_offer_is_over_in_time():
    bench = tripped_by("SENSOR_OPEN")
    mend(bench)
    for passed in range(1, 3000):
        bench.tick()
        if passed > 20 and bench.record.prompt == NONE:
            break
    assert GO_ON_TICKS < passed <= ticks_allowed("C22")


@pytest.mark.check("C22", proves="quiet")
def test_second_trip_is_gone_on_from_in_the_last_moment():
    bench = mended()
    go_on(bench, HOLD)
    bench.tick(20)
    tripped_by("SENSOR_OPEN", bench)
    mend(bench)
    bench.tick(GO_ON_TICKS - 1)
    go_on(bench, HOLD)
    assert bench.state == rs.RUN and bench.trip == trip_codes.NO_TRIP
    bench.board_c = [61.0, 61.0]
    driven = 0
    for _ in range(100):
        bench.tick()
        driven += bench.heats
    assert driven > 0


@pytest.mark.check("C22", proves="stays")
def test_offer_that_is_over_stays_over():
    bench = mended()
    bench.tick(GO_ON_TICKS)
    for _ in range(300):
        bench.tick()
        assert bench.record.prompt == NONE
    bench.arm(stage=HOLD)
    assert_never_heats_again(bench, trip_codes.SENSOR_OPEN)


# C23: nobody has touched the device.


def alone():
    """Return a bench that was armed at the device and holds 64 degC."""
    bench = running(attendance=ms.ATTEND_PANEL, hold_ticks=40000)
    bench.renews = False
    return bench


def left_alone(bench):
    """Let the lease run down to its last tick."""
    bench.tick(bench.machine.guard.lease_left - 1)
    assert bench.state == rs.RUN and bench.trip == trip_codes.NO_TRIP
    return bench


def tap(bench):
    bench.button = True
    bench.tick(2)
    bench.button = False
    bench.tick()


@pytest.mark.check("C23", proves="acts")
def test_untouched_device_acts():
    bench = left_alone(alone())
    bench.tick()
    assert_tripped(bench, trip_codes.PROMPT_OVERDUE)


@pytest.mark.check("C23", proves="in_time")
def test_untouched_device_acts_in_time():
    bench = alone()
    tap(bench)
    taken = until_tripped(bench, 2 * PANEL_TICKS)
    assert PANEL_TICKS - 2 <= taken <= ticks_allowed("C23")


@pytest.mark.check("C23", proves="quiet")
def test_touch_in_the_last_moment_is_quiet():
    bench = alone()
    bench.tick(bench.machine.guard.lease_left - 4)
    tap(bench)
    bench.tick(1000)
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.RUN


@pytest.mark.check("C23", proves="acts")
def test_host_that_watches_does_not_stand_in():
    bench = alone()
    bench.renews = True
    left_alone(bench).tick()
    assert_tripped(bench, trip_codes.PROMPT_OVERDUE)


@pytest.mark.check("C23", proves="stays")
def test_touch_that_comes_too_late_heats_nothing():
    bench = left_alone(alone())
    bench.tick()
    for _ in range(20):
        tap(bench)
        bench.tick(10)
        assert_tripped(bench, trip_codes.PROMPT_OVERDUE)
    assert_never_heats_again(bench, trip_codes.PROMPT_OVERDUE)


# C24: a couple pulled while the board cools.


def cooling(end="stop"):
    bench = running()
    bench.stop() if end == "stop" else bench.ask_touch(ms.COOL_DOWN)
    bench.tick(5)
    assert bench.state == rs.COOL
    return bench


ENDS = {"stop": rs.STOPPED, "cool down": rs.FINISHED}


@pytest.mark.check("C24", proves="acts")
@pytest.mark.parametrize("end", ENDS)
def test_pulled_couple_ends_the_run_unproven(end):
    bench = cooling(end)
    bench.raw = {0: OPEN_WORD}
    bench.tick(PULLED_TICKS)
    said = bench.record
    assert bench.state == ENDS[end] and said.verdict == ENDS[end]
    # what the host reads "cooling not proven" from
    assert said.fault(0) == trip_codes.SENSOR_OPEN
    assert said.outputs & record.OUT_LAMP, "the other couple is still hot"


@pytest.mark.check("C24", proves="in_time")
def test_pulled_couple_ends_the_run_in_time():
    bench = cooling()
    bench.raw = {1: OPEN_WORD}
    assert bench.until(rs.STOPPED, 200) <= ticks_allowed("C24")


@pytest.mark.check("C24", proves="quiet")
def test_couple_that_comes_back_in_the_last_moment_is_quiet():
    bench = cooling()
    for _ in range(3):
        bench.raw = {0: OPEN_WORD}
        bench.tick(PULLED_TICKS - 1)
        bench.raw = {}
        bench.tick(5)
        assert bench.state == rs.COOL


@pytest.mark.check("C24", proves="quiet")
def test_couple_that_broke_in_the_run_does_not_end_its_cooling():
    """Nobody has the board in hand there: a fault ended that run."""
    bench = tripped_by("SENSOR_OPEN")
    bench.tick(PULLED_TICKS * 5)
    assert bench.state == rs.COOL


@pytest.mark.check("C24", proves="quiet")
def test_couple_that_was_missing_from_the_start_of_the_cooling_was_not_pulled():
    bench = running()
    bench.raw = {0: OPEN_WORD}
    bench.stop()
    bench.tick(PULLED_TICKS * 5)
    assert bench.state == rs.COOL


@pytest.mark.check("C24", proves="stays")
def test_run_that_ended_so_stays_ended_and_dark():
    bench = cooling()
    bench.raw = {0: OPEN_WORD}
    bench.until(rs.STOPPED, 200)
    bench.raw = {}
    for _ in range(300):
        bench.tick()
        assert bench.state == rs.STOPPED
        assert_dark(bench)
