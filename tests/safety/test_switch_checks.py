"""Proofs of the checks on both switches: the relay and the contactor, each both ways."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import (
    CONTACTOR_TICKS,
    MISSING_TICKS,
    UNCOMMANDED_TICKS,
)
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import (
    assert_dark,
    assert_never_heats_again,
    assert_tripped,
    coasting,
    heating,
    until_tripped,
)
from tests.support.bench import ALWAYS, FOLLOWS, NEVER, Bench

# C08: current without a command.


@pytest.mark.check("C08", proves="acts")
def test_uncommanded_current_acts():
    bench = coasting()
    bench.current = ALWAYS
    bench.tick(UNCOMMANDED_TICKS)
    assert_tripped(bench, trip_codes.HEAT_UNCOMMANDED)


@pytest.mark.check("C08", proves="acts")
def test_uncommanded_current_acts_while_nothing_runs():
    bench = Bench()
    bench.tick(5)
    bench.current = ALWAYS
    bench.tick(UNCOMMANDED_TICKS)
    assert_tripped(bench, trip_codes.HEAT_UNCOMMANDED)


@pytest.mark.check("C08", proves="in_time")
def test_uncommanded_current_acts_in_time():
    bench = heating()
    bench.current = ALWAYS  # the relay sticks while it is driven: it shows at the next pause
    bench.board_c = [70.0, 70.0]
    while bench.heats:
        bench.tick()
    assert until_tripped(bench, 20) <= ticks_allowed("C08")
    assert_dark(bench)


@pytest.mark.check("C08", proves="quiet")
def test_current_that_dies_away_is_quiet():
    bench = coasting()
    for _ in range(20):
        bench.current = ALWAYS
        bench.tick(UNCOMMANDED_TICKS - 1)
        bench.current = FOLLOWS
        bench.tick()
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.RUN


@pytest.mark.check("C08", proves="stays")
def test_uncommanded_current_stays():
    bench = coasting()
    bench.current = ALWAYS
    bench.tick(UNCOMMANDED_TICKS)
    bench.current = FOLLOWS
    assert_never_heats_again(bench, trip_codes.HEAT_UNCOMMANDED)


# C09: no current although driven.


@pytest.mark.check("C09", proves="acts")
def test_missing_current_acts():
    bench = heating()
    bench.current = NEVER
    bench.tick(MISSING_TICKS)
    assert_tripped(bench, trip_codes.HEAT_MISSING)


@pytest.mark.check("C09", proves="in_time")
def test_missing_current_acts_in_time():
    bench = heating()
    bench.current = NEVER
    assert until_tripped(bench, 100) <= ticks_allowed("C09")
    assert_dark(bench)


@pytest.mark.check("C09", proves="quiet")
def test_current_that_comes_back_is_quiet():
    bench = heating()
    for _ in range(10):
        bench.current = NEVER
        bench.tick(MISSING_TICKS - 1)
        bench.current = FOLLOWS
        bench.tick()
        assert bench.heats
    assert bench.trip == trip_codes.NO_TRIP


@pytest.mark.check("C09", proves="stays")
def test_missing_current_stays():
    bench = heating()
    bench.current = NEVER
    bench.tick(MISSING_TICKS)
    bench.current = FOLLOWS
    assert_never_heats_again(bench, trip_codes.HEAT_MISSING)


# C10 and C11: the contactor, both ways.


@pytest.mark.check("C10", proves="acts")
def test_contactor_that_stays_closed_acts():
    bench = Bench().to_armed()
    bench.contactor = ALWAYS
    bench.tick(CONTACTOR_TICKS)
    assert_tripped(bench, trip_codes.CONTACTOR_STUCK_CLOSED)
    bench.press()
    assert bench.state != rs.HOT_PROOF


@pytest.mark.check("C10", proves="in_time")
def test_contactor_that_stays_closed_acts_in_time():
    bench = heating()
    bench.contactor = ALWAYS
    bench.stop()
    bench.tick()
    assert until_tripped(bench, 50) <= ticks_allowed("C10")


@pytest.mark.check("C10", proves="quiet")
def test_contactor_that_opens_slowly_is_quiet():
    bench = heating()
    bench.contactor = ALWAYS
    bench.stop()
    bench.tick(1 + CONTACTOR_TICKS - 1)
    bench.contactor = FOLLOWS
    bench.tick(50)
    assert bench.trip == trip_codes.NO_TRIP and bench.record.verdict == rs.STOPPED


@pytest.mark.check("C10", proves="stays")
def test_contactor_that_stays_closed_stays():
    bench = Bench().to_armed()
    bench.contactor = ALWAYS
    bench.tick(CONTACTOR_TICKS)
    bench.contactor = FOLLOWS
    assert_never_heats_again(bench, trip_codes.CONTACTOR_STUCK_CLOSED, ticks=5)


@pytest.mark.check("C11", proves="acts")
@pytest.mark.parametrize("lead_up", [heating, coasting, lambda: Bench().to_armed().press()])
def test_contactor_that_stays_open_acts(lead_up):
    bench = lead_up()
    bench.contactor = NEVER
    bench.tick()
    assert not bench.heats
    bench.tick(CONTACTOR_TICKS - 1)
    assert_tripped(bench, trip_codes.CONTACTOR_STUCK_OPEN)


@pytest.mark.check("C11", proves="in_time")
def test_contactor_that_stays_open_acts_in_time():
    bench = heating()
    bench.contactor = NEVER
    assert until_tripped(bench, 50) <= ticks_allowed("C11")
    assert_dark(bench)


@pytest.mark.check("C11", proves="quiet")
def test_contactor_that_bounces_is_quiet():
    bench = heating()
    for _ in range(10):
        bench.contactor = NEVER
        bench.tick(CONTACTOR_TICKS - 1)
        bench.contactor = FOLLOWS
        bench.tick(2)
        assert bench.heats
    assert bench.trip == trip_codes.NO_TRIP


@pytest.mark.check("C11", proves="stays")
def test_contactor_that_stays_open_stays():
    bench = heating()
    bench.contactor = NEVER
    bench.tick(CONTACTOR_TICKS)
    bench.contactor = FOLLOWS
    assert_never_heats_again(bench, trip_codes.CONTACTOR_STUCK_OPEN)
