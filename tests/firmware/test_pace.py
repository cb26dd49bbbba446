"""What slows the plan: a neighbour near its limit, an uneven board, sensors that a hold needs."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import pace, trip_codes
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.plan import Plan
from emberbed_fw.stage_clock import SLOW_TICKS
from emberbed_fw.units import CHANNELS, NO_READING_CDEG
from tests.support.bench import OPEN_WORD, Bench
from tests.support.plans import bench_settings, build_plan, cool, hold, ramp

CONTROL, EDGE, NEIGHBOUR, PAIR = range(4)
FOUR = tuple((name, 1, 26000, 0, 4096) for name in ("control", "edge", "battery", "pair"))
ROLES = dict(
    role2=layout.ROLE_NEIGHBOUR, limit2_cdeg=7000, pause2_cdeg=6000,
    role3=layout.ROLE_PAIR, partner3=CONTROL, limit3_cdeg=12000,
)  # fmt: skip
PAUSE_C = 60.0


def running(*stages, board_c=25.0, **header):
    """Return a bench with four sensors in its first stage, the neighbour cool."""
    plan = build_plan([*stages, cool()], **{**ROLES, **header})
    bench = Bench(plan, bench_settings(channels=FOUR))
    bench.board_c = [board_c, board_c, 30.0, board_c]
    bench.to_run()
    return bench


def climb(to_cdeg=9000, ticks=650, **more):
    return ramp(2500, to_cdeg, ticks, hold_back_cdeg=20000, **more)


def clock_moves(bench, ticks):
    """Return by how much the stage's clock moved in these ticks."""
    before = bench.record.stage_tick
    bench.tick(ticks)
    return bench.record.stage_tick - before


# A neighbour.


def test_ramp_pauses_while_a_neighbour_is_near_its_limit_and_goes_on_after():
    bench = running(climb())
    assert clock_moves(bench, 50) == 50
    bench.board_c[NEIGHBOUR] = PAUSE_C + 0.5
    assert clock_moves(bench, 200) == 0
    assert bench.record.waits_for == rs.WAITS_NEIGHBOUR and bench.trip == trip_codes.NO_TRIP
    # nothing above the board is asked for meanwhile, and hardly any power given
    assert bench.record.setpoint_cdeg == bench.record.channel0_cdeg
    assert bench.record.demand0_q15 < 200  # of 32768: what the integral had
    bench.board_c[NEIGHBOUR] = PAUSE_C - 0.5
    assert clock_moves(bench, 50) == 50 and bench.record.waits_for == rs.WAITS_NOTHING


def test_neighbour_stops_the_clock_of_a_hold_too():
    bench = running(hold(6000, 300), board_c=60.0)
    bench.board_c[NEIGHBOUR] = PAUSE_C + 0.5
    assert clock_moves(bench, 100) == 0 and bench.record.waits_for == rs.WAITS_NEIGHBOUR


def test_neighbour_trips_only_above_its_own_limit():
    bench = running(climb())
    bench.board_c[NEIGHBOUR] = 69.0
    bench.tick(100)
    assert bench.trip == trip_codes.NO_TRIP
    bench.board_c[NEIGHBOUR] = 71.0
    bench.tick(3)
    assert bench.trip == trip_codes.OVER_TEMPERATURE


@pytest.mark.parametrize(("cdeg", "pauses"), [(5999, False), (6000, True), (6001, True)])
def test_pause_begins_at_its_temperature(cdeg, pauses):
    plan = Plan(build_plan([climb(), cool()], **ROLES))
    readings = Fed({NEIGHBOUR: cdeg})
    assert pace.neighbour_near_limit(plan, readings, 0) is pauses


@pytest.mark.parametrize(("coming_cdeg", "pauses"), [(1999, False), (2000, True)])
def test_pause_begins_sooner_where_stored_heat_would_carry_it_over_its_limit(coming_cdeg, pauses):
    plan = Plan(build_plan([climb(), cool()], **ROLES))
    limit_cdeg = plan.limit_cdeg[NEIGHBOUR]
    assert plan.pause_cdeg[NEIGHBOUR] > limit_cdeg - 2000
    readings = Fed({NEIGHBOUR: limit_cdeg - 2000})
    assert pace.neighbour_near_limit(plan, readings, coming_cdeg) is pauses


def test_pause_of_another_role_means_nothing():
    plan = Plan(build_plan([climb(), cool()], **ROLES, pause0_cdeg=3000, pause1_cdeg=3000))
    readings = Fed({CONTROL: 9000, EDGE: 9000, NEIGHBOUR: 2000})
    assert not pace.neighbour_near_limit(plan, readings, 0)


# An uneven board.


class Fed:
    """Readings that say what a test wants."""

    def __init__(self, cdeg):
        self.cdeg = [cdeg.get(channel, NO_READING_CDEG) for channel in range(CHANNELS)]


@pytest.mark.parametrize(
    ("cdeg", "spread"),
    [
        ({}, 0), ({CONTROL: 5000}, 0), ({CONTROL: 5000, EDGE: 5000}, 0),
        ({CONTROL: 5000, EDGE: 4000}, 1000), ({CONTROL: 4000, EDGE: 5000}, 1000),
        ({CONTROL: 5000, EDGE: 4500, PAIR: 3800}, 1200),
        ({CONTROL: 5000, NEIGHBOUR: 9000}, 0),  # a single part, not the board
        ({CONTROL: -500, EDGE: 2500}, 3000),
    ],
)  # fmt: skip
def test_spread_is_hottest_minus_coldest_of_the_board(cdeg, spread):
    plan = Plan(build_plan([climb(), cool()], **ROLES))
    assert pace.spread_cdeg(plan, Fed(cdeg)) == spread


def test_sensor_in_the_jet_tells_no_spread():
    plan = Plan(build_plan([climb(), cool()], **ROLES, in_jet_channels=1 << EDGE))
    readings = Fed({CONTROL: 5000, EDGE: 20000, PAIR: 4900})
    assert pace.spread_cdeg(plan, readings) == 100


SETTLED = 120  # a board that jumps seems to rise fast, and would carry a neighbour over its limit


def uneven(bench, spread_c, at_c):
    """Put the edge below the rest of the board, without a jump."""
    bench.board_c[CONTROL] = bench.board_c[PAIR] = at_c
    bench.board_c[EDGE] = at_c - spread_c


def test_uneven_board_slows_its_ramp_to_a_quarter():
    bench = running(climb(spread_cdeg=800))
    uneven(bench, 7.5, 32.0)
    bench.tick(SETTLED)
    assert clock_moves(bench, 40) == 40
    uneven(bench, 9.0, 34.0)
    bench.tick(SETTLED)
    assert clock_moves(bench, 400) == 400 // SLOW_TICKS
    assert bench.record.waits_for == rs.WAITS_SPREAD
    uneven(bench, 7.5, 34.0)
    bench.tick()
    assert clock_moves(bench, 40) == 40 and bench.record.waits_for == rs.WAITS_NOTHING


def test_uneven_board_does_not_overtake_its_hold_back():
    bench = running(ramp(2500, 9000, 650, hold_back_cdeg=800, spread_cdeg=300), board_c=40.0)
    uneven(bench, 5.0, 40.0)
    bench.tick(1500)
    assert bench.record.waits_for == rs.WAITS_BOARD
    assert bench.record.setpoint_cdeg - bench.record.channel0_cdeg <= 820


def test_ramp_that_asks_for_no_evenness_does_not_slow():
    bench = running(climb())
    uneven(bench, 20.0, 40.0)
    bench.tick(SETTLED)
    assert clock_moves(bench, 100) == 100


def test_uneven_board_does_not_count_its_soak():
    bench = running(hold(6000, 300, spread_cdeg=500), board_c=60.0)
    assert clock_moves(bench, 20) == 20
    uneven(bench, 5.5, 61.0)
    bench.tick()
    assert clock_moves(bench, 100) == 0 and bench.record.waits_for == rs.WAITS_SPREAD


# Sensors that a hold needs.


@pytest.mark.parametrize(("edge_c", "counts"), [(57.5, True), (62.5, True), (56.5, False),
                                                (63.5, False)])  # fmt: skip
def test_hold_counts_with_its_needed_sensor_in_band_only(edge_c, counts):
    bench = running(hold(6000, 300, needed_channels=1 << EDGE), board_c=60.0)
    bench.board_c[EDGE] = edge_c
    bench.tick()
    assert clock_moves(bench, 100) == (100 if counts else 0)
    assert bench.record.waits_for == (rs.WAITS_NOTHING if counts else rs.WAITS_BAND)


def test_hold_waits_for_every_sensor_that_it_needs():
    needed = 1 << EDGE | 1 << PAIR
    bench = running(hold(6000, 300, needed_channels=needed), board_c=60.0)
    bench.board_c[PAIR] = 55.0
    bench.tick()
    assert clock_moves(bench, 50) == 0
    bench.board_c[PAIR] = 58.0
    assert clock_moves(bench, 50) == 50


def test_needed_sensor_without_a_reading_is_not_in_band():
    plan = Plan(build_plan([hold(6000, 300, needed_channels=1 << EDGE), cool()], **ROLES))
    bench = running(hold(6000, 300, needed_channels=1 << EDGE), board_c=60.0)
    readings = Fed({CONTROL: 6000})
    assert not pace.needed_in_band(plan, bench.machine.sequencer, readings)


def test_ramp_does_not_wait_for_the_sensors_of_a_hold():
    bench = running(climb(needed_channels=1 << EDGE))
    bench.board_c[EDGE] = 26.0
    assert clock_moves(bench, 50) == 50


def test_needed_sensor_follows_the_offset():
    bench = running(hold(6000, 300, needed_channels=1 << EDGE), board_c=60.0)
    assert bench.touch(ms.OFFSET, 400) == ms.DONE
    bench.board_c[CONTROL] = 64.0
    bench.tick()
    assert clock_moves(bench, 50) == 0, "the edge is still at 60 degC"
    bench.board_c[EDGE] = 63.0
    bench.tick()
    assert clock_moves(bench, 50) == 50


# Which of them is told, and that none of them hides a trip or a question.


def test_bead_that_lifts_is_told_before_everything_else():
    plan = Plan(build_plan([climb(spread_cdeg=100), cool()], **ROLES))
    bench = running(climb(spread_cdeg=100))
    readings = Fed({CONTROL: 9000, EDGE: 5000, NEIGHBOUR: 9000})
    sequencer = bench.machine.sequencer
    assert pace.brake(plan, sequencer, readings, 1) == rs.WAITS_SENSOR_DOWN
    assert pace.brake(plan, sequencer, readings, 0) == rs.WAITS_NEIGHBOUR
    readings.cdeg[NEIGHBOUR] = 2000
    assert pace.brake(plan, sequencer, readings, 0) == rs.WAITS_SPREAD
    readings.cdeg[EDGE] = 9000
    assert pace.brake(plan, sequencer, readings, 0) == rs.WAITS_NOTHING


def test_paused_stage_still_asks_when_it_takes_too_long():
    bench = running(climb(longest_ticks=500))
    bench.board_c[NEIGHBOUR] = PAUSE_C + 1
    bench.tick(500)
    assert bench.record.waits_for == rs.WAITS_ANSWER
    bench.tick(600)
    assert bench.trip == trip_codes.STAGE_OVERDUE


def test_missing_neighbour_is_a_sensor_fault():
    bench = running(climb())
    bench.raw = {NEIGHBOUR: OPEN_WORD}
    bench.tick(3)
    assert bench.trip == trip_codes.SENSOR_OPEN
