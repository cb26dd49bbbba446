"""Holding here and back to the last plateau: what stands still, for how long, and how it ends."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import ANSWER_TICKS, HELD_ASK_TICKS, HELD_FREELY_CDEG
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import NONE
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, hold, ramp, wait
from tests.support.situations import FIRST_RAMP, SECOND_HOLD, SECOND_RAMP, at_stage, bench_in


def warm_to(bench, board_c):
    bench.board_c = [board_c, board_c]
    bench.tick(2)


def touch(bench, kind, amount=0):
    assert ms.REFUSAL_NAMES[bench.touch(kind, amount)] == "DONE"


# What stands still.


def test_ramp_stands_at_the_boards_temperature_of_now():
    bench = at_stage(SECOND_RAMP)
    warm_to(bench, 65.0)
    measured, clock = bench.record.channel0_cdeg, bench.record.stage_tick
    touch(bench, ms.HOLD_HERE)
    assert bench.record.setpoint_cdeg == measured
    bench.tick(200)
    said = bench.record
    assert (said.setpoint_cdeg, said.stage_tick, said.stage) == (measured, clock, SECOND_RAMP)
    assert said.waits_for == rs.WAITS_HELD and bench.state == rs.RUN


def test_going_on_begins_the_ramp_where_the_board_is():
    bench = at_stage(SECOND_RAMP)
    touch(bench, ms.HOLD_HERE)
    warm_to(bench, 70.0)
    touch(bench, ms.GO_ON)
    # 60 to 80 degC in 100 ticks: 70 degC is tick 50
    assert abs(bench.record.stage_tick - 50) <= 2
    warm_to(bench, 80.0)
    bench.until_stage(SECOND_HOLD)


def test_soak_stands_and_goes_on_counting_where_it_was():
    bench = at_stage(SECOND_HOLD)
    bench.tick(10)
    counted = bench.record.stage_tick
    touch(bench, ms.HOLD_HERE)
    bench.tick(300)
    assert bench.record.stage == SECOND_HOLD and bench.record.waits_for == rs.WAITS_HELD
    touch(bench, ms.GO_ON)
    assert bench.record.stage_tick == counted + 1
    bench.tick(50 - counted - 2)
    assert bench.record.stage == SECOND_HOLD
    bench.tick()
    assert bench.record.stage == SECOND_HOLD + 1


def test_board_above_the_plans_peak_is_held_at_the_peak():
    stages = [ramp(2500, 6000, 100), hold(6000, 100), cool()]
    bench = Bench(build_plan(stages)).to_run()
    warm_to(bench, 64.0)
    touch(bench, ms.HOLD_HERE)
    assert bench.record.setpoint_cdeg == 6000


def test_holding_here_twice_takes_the_newer_temperature():
    bench = bench_in("holding here in a ramp")
    warm_to(bench, 72.0)
    touch(bench, ms.HOLD_HERE)
    assert bench.record.setpoint_cdeg == bench.record.channel0_cdeg


def test_nothing_but_feedback_drives_a_board_that_is_held():
    bench = bench_in("holding here in a ramp")
    sequencer = bench.machine.sequencer
    assert sequencer.feedforward_q15(0) == 0
    assert {sequencer.slope_q6(ahead) for ahead in range(0, 200, 10)} == {0}


def test_minute_of_a_neighbouring_hold_does_not_count_while_held():
    bench = bench_in("holding here in a hold")
    clock = bench.record.stage_tick
    bench.tick(100)
    assert bench.record.stage_tick == clock
    assert bench.record.stage_elapsed > 100, "the time of the run goes on being told"


# The last plateau.


def test_back_to_the_last_plateau_stands_at_the_last_hold():
    bench = at_stage(SECOND_RAMP)
    warm_to(bench, 66.0)
    touch(bench, ms.LAST_PLATEAU)
    bench.tick(10)
    assert bench.record.setpoint_cdeg == 6000 and bench.record.waits_for == rs.WAITS_HELD
    touch(bench, ms.GO_ON)
    warm_to(bench, 80.0)
    bench.until_stage(SECOND_HOLD)
    touch(bench, ms.LAST_PLATEAU)
    assert bench.record.setpoint_cdeg == 6000, "the one before, not the running one"


def test_without_a_plateau_there_is_no_way_back():
    bench = at_stage(FIRST_RAMP)
    assert ms.REFUSAL_NAMES[bench.touch(ms.LAST_PLATEAU)] == "NO_PLATEAU"


def test_wait_is_left_for_its_plateau_and_comes_back_to_its_question():
    bench = bench_in("waiting")
    prompt = bench.record.prompt
    touch(bench, ms.LAST_PLATEAU)
    bench.tick(5)
    assert bench.record.prompt == NONE and bench.record.setpoint_cdeg == 8000
    touch(bench, ms.GO_ON)
    bench.tick(2)
    assert bench.record.prompt == prompt and bench.state == rs.WAIT


# How it ends above 110 degC.


def held_at(board_c, plateau_cdeg=9000, longest_ticks=36000):
    """Return a bench that is held in a ramp at `board_c`, and whose last hold was at 90 degC."""
    stages = [
        hold(plateau_cdeg, 20), ramp(plateau_cdeg, 15000, 600, longest_ticks=longest_ticks),
        hold(15000, 100), cool(),
    ]  # fmt: skip
    bench = Bench(build_plan(stages))
    bench.board_c = [plateau_cdeg / 100] * 2
    bench.to_run()
    bench.until_stage(1)
    warm_to(bench, board_c)
    touch(bench, ms.HOLD_HERE)
    return bench


def ticks_to_question(bench, most=40000):
    """Return after how many ticks of holding the device asked."""
    for taken in range(1, most):
        bench.tick()
        if bench.record.prompt == LONGER_PROMPT:
            return taken
    raise AssertionError("it never asks")


ABOVE_C, BELOW_C = HELD_FREELY_CDEG / 100 + 1, HELD_FREELY_CDEG / 100 - 1


def test_above_110_it_asks_after_three_minutes():
    bench = held_at(ABOVE_C)
    assert abs(ticks_to_question(bench) - HELD_ASK_TICKS) <= 1
    assert bench.record.waits_for == rs.WAITS_ANSWER and bench.state == rs.RUN
    assert abs(bench.record.setpoint_cdeg - bench.record.channel0_cdeg) < 50, "held meanwhile"


@pytest.mark.parametrize("again", [ms.HOLD_HERE, ms.LAST_PLATEAU])
def test_holding_again_puts_no_question_off(again):
    """A script that holds here every minute was never asked."""
    bench = held_at(ABOVE_C, plateau_cdeg=HELD_FREELY_CDEG + 50)
    asked_after = 0
    while bench.record.prompt != LONGER_PROMPT:
        if asked_after % 600 == 599:
            touch(bench, again)
        else:
            bench.tick()
        asked_after += 1
        assert asked_after <= HELD_ASK_TICKS + 1, "it never asks"
    assert abs(asked_after - HELD_ASK_TICKS) <= 1


def test_holding_again_in_the_question_answers_nothing():
    bench = held_at(ABOVE_C)
    ticks_to_question(bench)
    for _ in range(2 * ANSWER_TICKS // 10):
        bench.ask_touch(ms.HOLD_HERE, 0, ms.BY_SCRIPT)
        bench.tick(10)
    bench.tick()
    assert bench.state == rs.COOL and bench.trip == trip_codes.STAGE_OVERDUE


def test_holding_again_higher_brings_the_question_nearer():
    bench = held_at(BELOW_C, longest_ticks=5000)
    bench.tick(100)
    warm_to(bench, ABOVE_C)
    touch(bench, ms.HOLD_HERE)
    assert abs(ticks_to_question(bench) - HELD_ASK_TICKS) <= 1


def test_below_110_it_asks_after_the_stages_longest_time():
    bench = held_at(BELOW_C, longest_ticks=5000)
    assert abs(ticks_to_question(bench) - 5000) <= 1


def test_below_110_it_never_asks_before_three_minutes():
    bench = held_at(BELOW_C, longest_ticks=900)
    assert abs(ticks_to_question(bench) - HELD_ASK_TICKS) <= 1


def test_person_who_answers_is_asked_again_every_three_minutes():
    bench = held_at(ABOVE_C)
    ticks_to_question(bench)
    for _ in range(3):
        bench.acknowledge(LONGER_PROMPT)
        bench.tick()
        assert bench.record.prompt == NONE and bench.record.waits_for == rs.WAITS_HELD
        assert abs(ticks_to_question(bench) - HELD_ASK_TICKS) <= 1


def test_nobody_answers_then_the_last_plateau_then_cooling():
    bench = held_at(ABOVE_C)
    ticks_to_question(bench)
    bench.tick(ANSWER_TICKS - 1)
    assert bench.record.setpoint_cdeg > HELD_FREELY_CDEG
    bench.tick()
    assert bench.record.setpoint_cdeg == 9000 and bench.state == rs.RUN
    bench.tick(ANSWER_TICKS - 1)
    assert bench.state == rs.RUN and bench.trip == trip_codes.NO_TRIP
    bench.tick()
    assert bench.state == rs.COOL and bench.trip == trip_codes.STAGE_OVERDUE and not bench.heats


def test_without_a_plateau_it_cools_when_nobody_answers():
    bench = Bench(build_plan([ramp(2500, 15000, 1200, hold_back_cdeg=20000), cool()])).to_run()
    warm_to(bench, ABOVE_C)
    touch(bench, ms.HOLD_HERE)
    ticks_to_question(bench)
    bench.tick(ANSWER_TICKS - 1)
    assert bench.state == rs.RUN
    bench.tick()
    assert bench.state == rs.COOL and bench.trip == trip_codes.STAGE_OVERDUE


@pytest.mark.parametrize("late_ticks", [10, ANSWER_TICKS + 10])
def test_question_has_three_answers(late_ticks):
    for answer in ("wait", "accept", "cool"):
        bench = held_at(ABOVE_C)
        ticks_to_question(bench)
        bench.tick(late_ticks)
        if answer == "wait":
            bench.acknowledge(LONGER_PROMPT)
            bench.tick()
            assert bench.record.prompt == NONE and bench.record.waits_for == rs.WAITS_HELD
        elif answer == "accept":
            touch(bench, ms.NEXT_STAGE)
            assert bench.record.stage == 2 and bench.record.prompt == NONE
        else:
            touch(bench, ms.COOL_DOWN)
            assert bench.state == rs.COOL and bench.record.verdict == rs.FINISHED
        assert bench.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize("late_ticks", [10, 300, ANSWER_TICKS + 10])
def test_going_on_is_an_answer_too(late_ticks):
    """The person is there and has chosen: the question must not come straight back."""
    bench = held_at(ABOVE_C)
    ticks_to_question(bench)
    bench.tick(late_ticks)
    touch(bench, ms.GO_ON)
    bench.tick(ANSWER_TICKS)
    assert bench.record.prompt == NONE
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.RUN
    assert bench.record.setpoint_cdeg >= HELD_FREELY_CDEG, "it climbs on, and does not fall back"


def test_going_on_to_a_question_of_the_plan_is_no_missed_answer():
    stages = [hold(6000, 5), hold(8000, 5), wait(8000, prompt=4, longest_ticks=3000), cool()]
    bench = Bench(build_plan(stages))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until_stage(1)
    warm_to(bench, 80.0)
    bench.until_stage(2)
    bench.tick(2)
    touch(bench, ms.LAST_PLATEAU)
    ticks_to_question(bench)
    touch(bench, ms.GO_ON)
    bench.tick(2)
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.WAIT
    assert bench.record.prompt == 4


def test_stage_keeps_its_own_longest_time_after_a_short_stand():
    bench = held_at(ABOVE_C, longest_ticks=9000)
    bench.tick(20)
    touch(bench, ms.GO_ON)
    # nothing is late after the three minutes of the stand: the ramp may take 15 minutes
    bench.tick(HELD_ASK_TICKS + 100)
    assert bench.record.prompt == NONE
