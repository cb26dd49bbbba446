"""Open loop power: a known push, ended by its time or at its temperature."""

import pytest

from emberbed.records import decode_record
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.units import FULL_POWER_Q15
from tests.support.bench import OPEN_WORD, Bench
from tests.support.heated import HeatedBench
from tests.support.plans import build_plan, cool, hold, power
from tests.support.situations import bench_in


def pushing(power_q15=8000, ticks=300, limit_cdeg=9000, bench=Bench, board_c=25.0, **header):
    one = bench(build_plan([power(power_q15, ticks, limit_cdeg), cool()], **header))
    one.board_c = [board_c, board_c]
    one.to_run()
    return one


def ticks_to_cooling(bench, most=2000):
    for taken in range(1, most):
        if bench.tick() == rs.COOL:
            return taken
    raise AssertionError("it does not end")


@pytest.mark.parametrize("ticks", [1, 50, 300])
def test_it_ends_after_its_time(ticks):
    bench = pushing(ticks=ticks)
    assert ticks_to_cooling(bench) == ticks
    assert bench.record.verdict == rs.FINISHED and bench.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize(("board_c", "ends"), [(89.5, False), (90.5, True)])
def test_it_ends_at_its_limit(board_c, ends):
    bench = pushing()
    bench.tick(50)
    bench.board_c = [board_c, board_c]
    assert (bench.tick(2) == rs.COOL) is ends


def test_board_that_is_at_the_limit_already_is_not_pushed():
    bench = Bench(build_plan([power(8000, 300, 9000), cool()]))
    bench.board_c = [91.0, 91.0]
    bench.to_run()
    assert ticks_to_cooling(bench) == 1


@pytest.mark.parametrize("power_q15", [0, 1000, 8000, FULL_POWER_Q15])
def test_mean_power_is_the_one_asked_for(power_q15):
    # a board in the cold would be asked about: does its sensor touch?
    bench = pushing(power_q15, ticks=1200, board_c=40.0)
    first = len(bench.tape)
    bench.tick(1000)
    said = [decode_record(packed) for packed in bench.tape[first:]]
    assert {one.demand0_q15 for one in said} == {power_q15}
    driven = sum(one.driven_zones for one in said)
    assert (
        abs(driven * FULL_POWER_Q15 - power_q15 * 1000) <= 7 * FULL_POWER_Q15
    )  # a dwell at each end


def test_nothing_but_the_cap_bounds_it():
    bench = pushing(20000, cap0_q15=6000)
    bench.tick(20)
    assert bench.record.demand0_q15 == 6000


def test_board_above_its_setpoint_does_not_lower_it():
    bench = pushing(8000)
    bench.board_c = [80.0, 80.0]
    bench.tick(50)
    assert bench.record.demand0_q15 == 8000


def test_guard_stands_above_it():
    bench = pushing(FULL_POWER_Q15, limit0_cdeg=9500, limit1_cdeg=9500)
    bench.board_c = [60.0, 96.0]  # the edge is too hot, the control sensor is not at the limit
    bench.tick()
    assert not bench.heats
    bench.tick(2)
    assert bench.trip == trip_codes.OVER_TEMPERATURE


def test_clock_stands_without_a_reading_and_the_guard_acts():
    bench = pushing()
    bench.raw = {0: OPEN_WORD}
    bench.tick(2)
    assert not bench.heats and bench.record.demand0_q15 == 0
    bench.tick()
    assert bench.trip == trip_codes.SENSOR_OPEN


def test_board_of_two_masses_is_pushed_to_its_limit_and_not_far_beyond():
    bench = pushing(FULL_POWER_Q15, 6000, 9000, HeatedBench)
    ticks_to_cooling(bench, 6000)
    assert 8950 < bench.record.channel0_cdeg < 9100
    assert bench.record.stage_elapsed == 1


def test_plan_may_go_on_with_a_hold_after_it():
    bench = Bench(build_plan([power(8000, 50, 9000), hold(6000, 30), cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run().tick(51)
    assert bench.record.stage == 1 and bench.record.setpoint_cdeg == 6000


def test_power_that_was_pushed_is_no_soak_power():
    bench = bench_in("open loop")
    before = bench.machine.soaks[0].mean_q15()
    bench.tick(50)
    assert bench.machine.soaks[0].mean_q15() == before


def test_it_can_be_ended_and_stopped():
    bench = pushing()
    bench.touch(ms.COOL_DOWN)
    assert bench.state == rs.COOL and bench.record.verdict == rs.FINISHED
    bench = pushing()
    bench.stop()
    assert bench.tick() == rs.COOL and bench.record.verdict == rs.STOPPED
