"""Hot air from above: brought and taken away by a person, with the bottom heat left as it was."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.record import OUT_BUZZER
from emberbed_fw.safety_limits import ANSWER_TICKS
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from tests.support.bench import OPEN_WORD, Bench
from tests.support.plans import build_plan, cool, hold, hot_air, ramp

NOZZLE_PROMPT = 5
LONGEST, TO_ANSWER = 2400, 900


def air(at_cdeg=6000, **more):
    values = dict(longest_ticks=LONGEST, answer_ticks=TO_ANSWER)
    return hot_air(at_cdeg, prompt=NOZZLE_PROMPT, **{**values, **more})


def asking(*stages, **header):
    """Return a bench that has just asked for the nozzle, after a hold at 60 degC."""
    bench = Bench(build_plan([hold(6000, 50), *(stages or (air(),)), cool()], **header))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until_stage(1)
    return bench


def blowing(*stages):
    bench = asking(*stages)
    bench.tick()
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick()
    assert bench.machine.air_is_on()
    return bench


def ticks_until(bench, condition, most=20000):
    for taken in range(1, most):
        bench.tick()
        if condition(bench):
            return taken
    raise AssertionError("it does not happen")


# Its life.


def test_it_asks_for_the_nozzle_and_waits():
    bench = asking()
    assert bench.state == rs.WAIT
    bench.tick()
    said = bench.record
    assert (said.prompt, said.waits_for) == (NOZZLE_PROMPT, rs.WAITS_OPERATOR)
    bench.tick(TO_ANSWER - 10)
    assert bench.state == rs.WAIT and bench.record.setpoint_cdeg == 6000
    assert not bench.machine.air_is_on()


def test_answered_it_runs_until_the_air_is_away():
    bench = blowing()
    said = bench.record
    assert (bench.state, said.stage, said.prompt) == (rs.RUN, 1, AIR_AWAY_PROMPT)
    assert said.waits_for == rs.WAITS_AIR_AWAY and said.setpoint_cdeg == 6000
    bench.tick(LONGEST - 10)
    assert bench.record.stage == 1 and bench.record.stage_tick == LONGEST - 10
    bench.acknowledge(AIR_AWAY_PROMPT)
    bench.tick()
    assert bench.state == rs.COOL and bench.record.verdict == rs.FINISHED


@pytest.mark.parametrize("prompt", [AIR_AWAY_PROMPT, LONGER_PROMPT, NOZZLE_PROMPT + 1])
def test_another_answer_does_not_bring_the_nozzle(prompt):
    bench = asking()
    bench.tick(2)
    bench.acknowledge(prompt)
    bench.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == "WRONG_PROMPT" and bench.state == rs.WAIT


def test_nozzle_that_nobody_brings_takes_the_heat_away():
    bench = asking()
    assert ticks_until(bench, lambda one: one.trip != trip_codes.NO_TRIP) == TO_ANSWER
    assert bench.trip == trip_codes.PROMPT_OVERDUE and bench.state == rs.COOL and not bench.heats


def test_nozzle_in_the_last_moment_is_in_time():
    bench = asking()
    bench.tick(TO_ANSWER - 1)
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick(5)
    assert bench.state == rs.RUN and bench.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize("waited", [5, TO_ANSWER - 5])
def test_longest_time_counts_from_the_nozzle_on(waited):
    bench = asking()
    bench.tick(waited)
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick()
    taken = ticks_until(bench, lambda one: one.record.prompt == LONGER_PROMPT)
    assert taken == LONGEST
    assert bench.record.waits_for == rs.WAITS_ANSWER and bench.machine.air_is_on()


def late():
    bench = blowing()
    ticks_until(bench, lambda one: one.record.prompt == LONGER_PROMPT)
    return bench


def test_answered_it_lasts_half_as_long_again_and_can_still_be_ended():
    bench = late()
    bench.acknowledge(LONGER_PROMPT)
    bench.tick(2)
    assert bench.record.prompt == AIR_AWAY_PROMPT
    taken = ticks_until(bench, lambda one: one.record.prompt == LONGER_PROMPT)
    assert abs(taken - LONGEST // 2) <= 1
    assert ms.REFUSAL_NAMES[bench.touch(ms.MARK, ms.MARK_AIR_AWAY)] == "DONE"
    assert bench.state == rs.COOL and bench.record.verdict == rs.FINISHED


def test_nobody_answers_then_it_falls_back_and_cools():
    stages = (ramp(6000, 8000, 100), air(8000))
    bench = asking(*stages)
    bench.board_c = [80.0, 80.0]
    bench.until_stage(2)
    bench.tick()
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick()
    ticks_until(bench, lambda one: one.record.prompt == LONGER_PROMPT)
    bench.tick(ANSWER_TICKS)
    assert bench.record.setpoint_cdeg == 6000, "the last plateau"
    bench.tick(ANSWER_TICKS - 1)
    assert bench.trip == trip_codes.NO_TRIP
    bench.tick()
    assert bench.trip == trip_codes.STAGE_OVERDUE and not bench.heats


def test_two_of_them_ask_for_the_nozzle_twice():
    bench = blowing(air(), hold(6000, 60), air())
    bench.acknowledge(AIR_AWAY_PROMPT)
    bench.tick(2)
    assert bench.record.stage == 2 and not bench.machine.air_is_on()
    bench.until_stage(3)
    bench.tick()
    assert bench.state == rs.WAIT and bench.record.prompt == NOZZLE_PROMPT
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick()
    assert bench.record.prompt == AIR_AWAY_PROMPT


def test_question_of_the_nozzle_calls_and_hot_air_calls_near_its_end_only():
    bench = asking()
    calls = 0
    for _ in range(620):
        bench.tick()
        calls += bench.record.outputs & OUT_BUZZER != 0
    assert calls >= 10, "at each reminder"
    bench = blowing()
    calls = []
    for _ in range(LONGEST):
        bench.tick()
        calls.append(bench.record.outputs & OUT_BUZZER != 0)
    assert not any(calls[: LONGEST - 301]) and any(calls[LONGEST - 299 :])


# Nothing is lost in a doubtful tick.


def test_air_that_is_taken_away_in_a_doubtful_tick_is_away():
    """The person has put the tool down and looks at the board; the bead was brushed meanwhile."""
    bench = blowing()
    bench.tick(20)
    bench.raw = {0: OPEN_WORD}
    bench.touch(ms.MARK, ms.MARK_AIR_AWAY)
    assert bench.refusals[-1] == ms.DONE
    bench.raw = {}
    bench.tick(3)
    assert not bench.machine.air_is_on() and bench.record.prompt != AIR_AWAY_PROMPT
