"""Where a run that goes on after a mended trip begins, stage by stage."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from tests.support.trips import (
    AIR,
    HOLD,
    RAMP,
    WAIT,
    go_on,
    mended,
    running,
)

# Where it begins.


@pytest.mark.parametrize("done_ticks", [0, 60, 120])
def test_hold_goes_on_with_what_was_done_of_it(done_ticks):
    bench = running(HOLD)
    bench.tick(150)
    bench = mended(bench=bench)
    go_on(bench, HOLD, done_ticks)
    assert bench.record.stage_tick == done_ticks
    bench.tick(301 - done_ticks)
    assert bench.record.stage == WAIT


def test_ramp_goes_on_from_where_the_board_is():
    bench = mended("SENSOR_OPEN", running(RAMP))
    bench.board_c = [62.0, 62.0]
    bench.tick()
    go_on(bench, RAMP)
    # 60 to 64 degC in 40 ticks
    assert abs(bench.record.stage_tick - 20) <= 2
    assert abs(bench.record.setpoint_cdeg - bench.record.channel0_cdeg) <= 10


def test_setpoint_climbs_from_the_boards_temperature():
    bench = mended()
    bench.board_c = [50.0, 50.0]
    bench.tick()
    go_on(bench, HOLD)
    setpoints = [bench.record.setpoint_cdeg]
    for _ in range(300):
        bench.tick()
        setpoints.append(bench.record.setpoint_cdeg)
    assert setpoints[0] <= bench.record.channel0_cdeg + 10
    assert max(b - a for a, b in zip(setpoints, setpoints[1:], strict=False)) <= 4
    assert setpoints[-1] == pytest.approx(bench.record.channel0_cdeg + 500, abs=10), (
        "and never further ahead of the board than 5 degC"
    )


def test_last_plateau_before_the_stage_is_known():
    bench = mended()
    go_on(bench, HOLD)
    assert bench.touch(ms.LAST_PLATEAU) == ms.DONE
    bench.tick(200)
    assert bench.record.setpoint_cdeg == 6000


def test_question_is_asked_anew():
    bench = mended("SENSOR_OPEN", running(WAIT))
    go_on(bench, WAIT)
    bench.tick()
    assert bench.state == rs.WAIT and bench.record.prompt == 3


def test_nozzle_is_asked_for_anew():
    bench = mended("SENSOR_OPEN", running(AIR))
    go_on(bench, AIR)
    bench.tick()
    assert bench.state == rs.WAIT and bench.record.prompt == 4 and not bench.machine.air_is_on()


def test_changes_of_the_run_before_are_gone():
    bench = running()
    assert bench.touch(ms.OFFSET, 200) == ms.DONE
    mended("SENSOR_OPEN", bench)
    go_on(bench, HOLD)
    assert bench.record.offset_cdeg == 0
    assert bench.record.energy_j == 500, "the pulse of the proof: five ticks of 1000 W"


def test_answer_and_arming_may_come_in_one_tick():
    bench = mended()
    bench.acknowledge(GO_ON_PROMPT)
    bench.arm(stage=HOLD)
    bench.tick()
    assert bench.refusals[-2:] == [ms.DONE, ms.DONE] and bench.state == rs.COLD_PROOF
