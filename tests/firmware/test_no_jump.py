"""After a change the setpoint climbs from where the board is; it never jumps ahead of it."""

import random

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.lead import AHEAD_CDEG, CDEG_PER_TICK
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.bench import Bench
from tests.support.heated import HeatedBench
from tests.support.plans import build_plan, cool, hold, hot_air, ramp, wait
from tests.support.situations import bench_in
from tests.support.trips import HOLD, WAIT, go_on, mended, running

STEEPEST = 4  # of the plans here, in cdeg a tick
NEAR_CDEG = 60  # a converter's step and its noise: so near to the board is no jump


def watch_rises(bench, ticks):
    """Run; fail where the setpoint rises faster than a lead or a plan and is ahead of the board."""
    for _ in range(ticks):
        before = bench.record.setpoint_cdeg
        bench.tick()
        assert_no_jump(before, bench)


def assert_no_jump(before, bench):
    now = bench.record.setpoint_cdeg
    if NO_READING_CDEG in (now, before, bench.record.channel0_cdeg):
        return  # nothing is heated
    # one tick of an offset's lead on top of one of the plan
    rises_gently = now - before <= CDEG_PER_TICK + STEEPEST
    ahead = now - bench.record.channel0_cdeg
    assert rises_gently or ahead <= NEAR_CDEG, (
        f"from {before} to {now}, {ahead} ahead of the board, in stage {bench.record.stage}"
    )


# What is touched with a board 20 degC below what the plan wants, and what comes after it.
STAGES = [
    hold(10000, 20), ramp(10000, 6000, 1000), hold(6000, 400), ramp(6000, 14000, 2000),
    hold(14000, 400, longest_ticks=600), wait(14000, prompt=3), hot_air(14000, prompt=4),
    ramp(14000, 15000, 500), cool(),
]  # fmt: skip


def in_stage(stage, board_c):
    """Return a bench that was hurried into a stage."""
    bench = Bench(build_plan(STAGES))
    bench.board_c = [100.0, 100.0]
    bench.to_run()
    bench.until_stage(1)
    while bench.board_c[0] > board_c:
        bench.board_c = [bench.board_c[0] - 0.1] * 2  # a degree a second: no bead lifts
        bench.tick()
    while bench.record.stage < stage:
        bench.touch(ms.NEXT_STAGE)
    return bench


HURRIED = [(ms.NEXT_STAGE, 0), (ms.OFFSET, 500), (ms.LAST_PLATEAU, 0), (ms.HOLD_HERE, 0)]


@pytest.mark.parametrize("stage", [2, 3, 4, 5, 6, 7])
@pytest.mark.parametrize(("touch", "amount"), HURRIED)
def test_change_on_a_cool_board(touch, amount, stage):
    bench = in_stage(stage, 60.0)
    before = bench.record.setpoint_cdeg
    bench.touch(touch, amount)
    assert_no_jump(before, bench)
    watch_rises(bench, 300)
    if bench.state in rs.STAGED_STATES and bench.machine.sequencer.held:
        before = bench.record.setpoint_cdeg
        bench.touch(ms.GO_ON)
        assert_no_jump(before, bench)
        watch_rises(bench, 100)


def test_question_that_is_answered_on_a_cool_board():
    """Hurried into a wait and answered at once: the next ramp begins where the board is."""
    bench = in_stage(5, 60.0)
    for prompt in (3, 4, AIR_AWAY_PROMPT):
        bench.tick(3)
        assert bench.record.prompt == prompt
        before = bench.record.setpoint_cdeg
        bench.acknowledge(prompt)
        bench.tick()
        assert_no_jump(before, bench)
        watch_rises(bench, 50)


def test_lead_is_never_far_ahead_of_a_board_that_does_not_follow():
    bench = in_stage(5, 60.0)
    bench.tick(2000)
    ahead = bench.record.setpoint_cdeg - bench.record.channel0_cdeg
    assert AHEAD_CDEG - 50 < ahead <= AHEAD_CDEG + CDEG_PER_TICK


def test_plateau_above_the_board_is_climbed_to():
    stages = [hold(10000, 20), ramp(10000, 6000, 1000), hold(6000, 600), cool()]
    bench = HeatedBench(build_plan(stages), start_c=100.0).to_run()
    bench.until_stage(2)
    before = bench.record.setpoint_cdeg
    bench.touch(ms.LAST_PLATEAU)
    assert_no_jump(before, bench)
    watch_rises(bench, 2000)
    assert bench.record.setpoint_cdeg == 10000, "and it gets there"


@pytest.mark.parametrize("answer", ["wait", "more time", "go on"])
def test_answer_after_the_fall_back_climbs(answer):
    bench = in_stage(4, 60.0)
    most = 30000
    while bench.record.prompt != LONGER_PROMPT and most:
        bench.tick()
        most -= 1
    bench.tick(650)  # it has fallen back to the plateau at 60 degC
    assert bench.record.setpoint_cdeg == 6000
    if answer == "wait":
        bench.acknowledge(LONGER_PROMPT)
    elif answer == "more time":
        bench.ask_touch(ms.EXTEND, 600)
        bench.ask_touch(ms.EXTEND, 600)
    else:
        bench.ask_touch(ms.HOLD_HERE)
        bench.ask_touch(ms.GO_ON)
    watch_rises(bench, 200)
    assert bench.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize(("start", "stage"), [(None, HOLD), (WAIT, WAIT)])
def test_going_on_after_a_trip(start, stage):
    bench = mended("SENSOR_OPEN", running(start or HOLD))
    bench.board_c = [45.0, 45.0]
    bench.tick()
    go_on(bench, stage)
    ahead = bench.record.setpoint_cdeg - bench.record.channel0_cdeg
    assert ahead <= NEAR_CDEG, "in the first tick too"
    watch_rises(bench, 300)
    if stage == WAIT:
        bench.acknowledge(3)
        watch_rises(bench, 20)


def test_doubtful_reading_in_the_tick_of_the_next_stage():
    bench = bench_in("second ramp")
    before = bench.record.setpoint_cdeg
    bench.raw = {0: 0}
    bench.touch(ms.NEXT_STAGE)
    bench.raw = {}
    assert_no_jump(before, bench)
    watch_rises(bench, 10)


@pytest.mark.parametrize("seed", range(8))
def test_random_changes_never_make_it_jump(seed):
    chance = random.Random(seed)
    stages = [
        ramp(2500, 8000, 1600), hold(8000, 300), ramp(8000, 12000, 1200),
        wait(12000, prompt=3), hot_air(12000, prompt=4), ramp(12000, 9000, 900),
        hold(9000, 300), cool(),
    ]  # fmt: skip
    bench = HeatedBench(build_plan(stages)).to_run()
    touches = [ms.HOLD_HERE, ms.GO_ON, ms.EXTEND, ms.LAST_PLATEAU, ms.OFFSET, ms.NEXT_STAGE]
    for _ in range(40):
        if bench.state not in rs.STAGED_STATES:
            break
        before = bench.record.setpoint_cdeg
        if bench.record.prompt != NONE and chance.random() < 0.7:
            bench.acknowledge(bench.record.prompt)
            bench.tick()
        else:
            touch = chance.choice(touches)
            amount = chance.randrange(-500, 501) if touch == ms.OFFSET else 300
            bench.touch(touch, amount)
        assert_no_jump(before, bench)
        watch_rises(bench, chance.randrange(1, 400))
