"""The next stage at once, and more time for the running one."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import ANSWER_TICKS, MOST_EXTRA_TICKS
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import NONE
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, hold, hot_air, ramp, wait
from tests.support.situations import STAGES, at_stage, bench_in

STAGE_NUMBERS = range(len(STAGES) - 1)


def named(refusal):
    return ms.REFUSAL_NAMES[refusal]


@pytest.mark.parametrize("stage", STAGE_NUMBERS)
def test_next_stage_begins_in_that_tick(stage):
    bench = at_stage(stage)
    assert named(bench.touch(ms.NEXT_STAGE)) == "DONE"
    assert bench.record.stage == stage + 1 and bench.record.stage_elapsed <= 1
    kind = STAGES[stage + 1]["kind"]
    wanted = {layout.COOL: rs.COOL, layout.WAIT: rs.WAIT, layout.HOT_AIR: rs.WAIT}
    assert bench.state == wanted.get(kind, rs.RUN)
    asks = bench.state == rs.WAIT
    assert bench.record.prompt == (STAGES[stage + 1]["prompt"] if asks else NONE)


def test_next_stage_before_the_cooling_ends_the_run_as_finished():
    bench = bench_in("open loop")
    bench.touch(ms.NEXT_STAGE)
    assert bench.state == rs.COOL and bench.record.verdict == rs.FINISHED
    assert not bench.heats and not bench.contactor_driven and bench.trip == trip_codes.NO_TRIP
    bench.board_c = [25.0, 25.0]
    bench.until(rs.FINISHED)


def test_every_stage_can_be_passed_over_one_by_one():
    bench = bench_in("first ramp")
    stages = [bench.record.stage]
    while bench.state != rs.COOL:
        bench.touch(ms.NEXT_STAGE)
        stages.append(bench.record.stage)
    assert stages == list(range(len(STAGES)))


def test_next_stage_ends_standing_still():
    bench = bench_in("holding here in a ramp")
    bench.touch(ms.NEXT_STAGE)
    bench.tick()
    assert bench.machine.sequencer.held == 0 and bench.record.waits_for != rs.WAITS_HELD


def test_next_stage_ends_hot_air():
    bench = bench_in("under hot air")
    bench.touch(ms.NEXT_STAGE)
    assert not bench.machine.air_is_on() and bench.record.prompt == NONE


def test_next_stage_accepts_a_stage_that_is_stuck():
    plan = build_plan([ramp(2500, 9000, 100, longest_ticks=300), hold(9000, 100), cool()])
    bench = Bench(plan).to_run()
    bench.tick(300)
    assert bench.record.prompt == LONGER_PROMPT
    assert named(bench.touch(ms.NEXT_STAGE)) == "DONE"
    assert (bench.record.stage, bench.record.prompt) == (1, NONE)


def test_hold_that_was_passed_over_is_a_plateau_all_the_same():
    bench = bench_in("first hold")
    bench.touch(ms.NEXT_STAGE)
    assert named(bench.touch(ms.LAST_PLATEAU)) == "DONE"
    bench.tick(200)
    assert bench.record.setpoint_cdeg == 6000


# A minute more.


def ticks_in_stage(bench, most=10000):
    """Return how many ticks the running stage still takes."""
    stage = bench.record.stage
    for taken in range(1, most):
        bench.tick()
        if bench.record.stage != stage:
            return taken
    raise AssertionError("it never ends")


@pytest.mark.parametrize("asked", [(600,), (1,), (600, 600, 300)])
def test_hold_lasts_as_much_longer_as_was_asked_for(asked):
    plain, longer = bench_in("second hold"), bench_in("second hold")
    for ticks in asked:
        assert named(longer.touch(ms.EXTEND, ticks)) == "DONE"
    assert ticks_in_stage(longer) + len(asked) == ticks_in_stage(plain) + sum(asked)


def test_hold_is_lengthened_by_ten_minutes_in_all():
    bench = bench_in("second hold")
    for _ in range(MOST_EXTRA_TICKS // 600):
        assert named(bench.touch(ms.EXTEND, 600)) == "DONE"
    assert named(bench.touch(ms.EXTEND, 1)) == "ABOVE_LIMIT"


def test_next_hold_may_be_lengthened_anew():
    stages = [hold(6000, 20), hold(6000, 20), cool()]
    bench = Bench(build_plan(stages))
    bench.board_c = [60.0, 60.0]
    bench.to_run().tick(2)
    bench.touch(ms.EXTEND, 600)
    bench.until_stage(1)
    assert bench.machine.sequencer.extra_ticks == 0
    assert ticks_in_stage(bench) == 20


def asking(stages, at_c, stage):
    bench = Bench(build_plan([*stages, cool()]))
    bench.board_c = [at_c, at_c]
    bench.to_run()
    bench.until_stage(stage)
    return bench


def ticks_to_trip(bench, most=8000):
    for taken in range(1, most):
        bench.tick()
        if bench.trip != trip_codes.NO_TRIP:
            return taken, bench.trip
    raise AssertionError("no trip")


LATE = {
    "wait": wait(6000, prompt=3, longest_ticks=900),
    "nozzle": hot_air(6000, prompt=3, answer_ticks=900),
}


@pytest.mark.parametrize("name", LATE)
def test_question_of_the_plan_waits_as_much_longer(name):
    stages = [hold(6000, 5), LATE[name]]
    plain, longer = asking(stages, 60.0, 1), asking(stages, 60.0, 1)
    assert named(longer.touch(ms.EXTEND, 600)) == "DONE"
    ticks, trip = ticks_to_trip(longer)
    assert trip == trip_codes.PROMPT_OVERDUE
    assert ticks + 1 == ticks_to_trip(plain)[0] + 600


def test_hot_air_may_stay_as_much_longer():
    stages = [hold(6000, 5), hot_air(6000, prompt=3, longest_ticks=900)]

    def ticks_to_question(extra):
        bench = asking(stages, 60.0, 1)
        bench.tick()
        bench.acknowledge(3)
        bench.tick(2)
        if extra:
            assert named(bench.touch(ms.EXTEND, extra)) == "DONE"
        while bench.record.prompt != LONGER_PROMPT:
            bench.tick()
            assert bench.record.stage_elapsed < 3000
        return bench.record.stage_elapsed

    assert ticks_to_question(600) == ticks_to_question(0) + 600


def test_more_time_takes_the_question_away():
    stages = [hold(6000, 5), hold(8000, 100, longest_ticks=300)]
    bench = asking(stages, 60.0, 1)
    bench.tick(350)
    assert bench.record.prompt == LONGER_PROMPT
    assert named(bench.touch(ms.EXTEND, 600)) == "DONE"
    bench.tick(500)
    assert bench.record.prompt == NONE


def test_more_time_after_the_fall_back_climbs_and_does_not_jump():
    stages = [hold(6000, 5), hold(8000, 100, longest_ticks=300)]
    bench = asking(stages, 60.0, 1)
    bench.tick(300 + ANSWER_TICKS + 5)
    assert bench.record.setpoint_cdeg == 6000
    bench.touch(ms.EXTEND, 600)
    bench.touch(ms.EXTEND, 600)
    assert bench.record.prompt == NONE
    assert bench.record.setpoint_cdeg < 6100
    bench.tick(600)
    assert bench.record.setpoint_cdeg > 6100, "it does climb"
