"""Targets shifted by a person: by at most 5 degC, and never above what was shown at the press."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import MOST_OFFSET_CDEG
from tests.support.bench import Bench
from tests.support.heated import HeatedBench
from tests.support.plans import build_plan, cool, hold, ramp
from tests.support.situations import FIRST_HOLD, FIRST_RAMP, SECOND_HOLD, STAGES, WAITING, at_stage


def shift(bench, offset_cdeg):
    return ms.REFUSAL_NAMES[bench.touch(ms.OFFSET, offset_cdeg)]


def in_a_long_hold():
    """Return a bench that holds 80 degC for a minute."""
    bench = Bench(build_plan([hold(8000, 600), cool()], most_setpoint_cdeg=8500))
    bench.board_c = [80.0, 80.0]
    bench.to_run().tick(10)
    return bench


@pytest.mark.parametrize("offset_cdeg", [MOST_OFFSET_CDEG, 1, -1, -MOST_OFFSET_CDEG])
def test_hold_moves_by_the_offset(offset_cdeg):
    bench = in_a_long_hold()
    assert shift(bench, offset_cdeg) == "DONE"
    assert bench.record.offset_cdeg == offset_cdeg
    bench.board_c = [80.0 + offset_cdeg / 100] * 2
    bench.tick(150)
    assert bench.record.setpoint_cdeg == 8000 + offset_cdeg
    assert bench.record.waits_for == rs.WAITS_NOTHING, "the band has moved with it"


def test_offset_replaces_the_one_before():
    bench = in_a_long_hold()
    for offset_cdeg in (300, 100, -200, 0):
        assert shift(bench, offset_cdeg) == "DONE"
        assert bench.record.offset_cdeg == offset_cdeg
    bench.tick(150)
    assert bench.record.setpoint_cdeg == 8000


def test_band_is_around_the_shifted_target():
    bench = at_stage(SECOND_HOLD)  # band 3 degC
    assert shift(bench, 400) == "DONE"
    bench.tick(150)
    assert bench.record.waits_for == rs.WAITS_BAND and bench.record.stage_tick < 50


def test_offset_stays_from_stage_to_stage_and_ends_with_the_run():
    bench = at_stage(FIRST_HOLD)
    assert shift(bench, 200) == "DONE"
    bench.board_c = [62.0, 62.0]
    bench.until_stage(2)
    bench.board_c = [82.0, 82.0]
    bench.until_stage(3)
    assert bench.record.setpoint_cdeg == 8200
    bench.stop()
    bench.tick()
    assert bench.record.offset_cdeg == 0
    bench.board_c = [25.0, 25.0]
    bench.until(rs.STOPPED)
    bench.to_run()
    assert (bench.record.offset_cdeg, bench.record.setpoint_cdeg) == (0, 2500)


UP_TO_80 = [*STAGES[: WAITING + 1], cool()]
# the highest target still to come is 80 degC
CEILINGS = [(8000, 0), (8300, 300), (8499, 499), (8500, MOST_OFFSET_CDEG)]


@pytest.mark.parametrize(("ceiling_cdeg", "most_cdeg"), CEILINGS)
@pytest.mark.parametrize("stage", [FIRST_RAMP, FIRST_HOLD, SECOND_HOLD])
def test_offset_ends_where_the_highest_target_to_come_meets_the_ceiling(
    stage, ceiling_cdeg, most_cdeg
):
    bench = at_stage(stage, stages=UP_TO_80, most_setpoint_cdeg=ceiling_cdeg)
    assert shift(bench, most_cdeg) == "DONE"
    if most_cdeg < MOST_OFFSET_CDEG:
        assert shift(bench, most_cdeg + 1) == "ABOVE_LIMIT"
    assert bench.record.offset_cdeg == most_cdeg


def test_offset_looks_at_what_is_still_to_come_only():
    stages = [hold(8000, 20), ramp(8000, 6000, 200), hold(6000, 200), cool()]
    bench = HeatedBench(build_plan(stages, most_setpoint_cdeg=8200), start_c=80.0).to_run()
    assert shift(bench, 201) == "ABOVE_LIMIT"
    bench.until_stage(2)
    assert shift(bench, 400) == "DONE"


def falling(most_setpoint_cdeg=8000):
    """Return a bench at the top of a ramp that falls from its peak."""
    stages = [hold(8000, 20), ramp(8000, 4000, 2000), cool()]
    bench = HeatedBench(build_plan(stages, most_setpoint_cdeg=most_setpoint_cdeg), start_c=80.0)
    bench.to_run()
    bench.until_stage(1)
    return bench


def highest_setpoint(bench, ticks):
    highest = -28000
    for _ in range(ticks):
        bench.tick()
        highest = max(highest, bench.record.setpoint_cdeg)
    return highest


def test_ceiling_holds_at_the_top_of_a_falling_ramp():
    bench = falling()
    shift(bench, 300)
    assert highest_setpoint(bench, 200) <= 8000


def test_ceiling_holds_for_a_board_that_is_held_above_the_targets_to_come():
    bench = falling()
    assert bench.touch(ms.HOLD_HERE) == ms.DONE
    shift(bench, 300)
    assert highest_setpoint(bench, 200) <= 8000


def test_ceiling_holds_on_the_way_back_to_a_plateau_that_was_higher():
    bench = falling()
    bench.tick(600)
    shift(bench, 300)
    assert bench.touch(ms.LAST_PLATEAU) == ms.DONE
    assert highest_setpoint(bench, 600) <= 8000


def test_warmer_board_is_not_pulled_up_at_once():
    bench = in_a_long_hold()
    assert shift(bench, 500) == "DONE"
    rises = []
    for _ in range(300):
        before = bench.record.setpoint_cdeg
        bench.tick()
        rises.append(bench.record.setpoint_cdeg - before)
    assert max(rises) == 4, "lead.CDEG_PER_TICK: 0.4 degC a second"
    assert bench.record.setpoint_cdeg == 8500
