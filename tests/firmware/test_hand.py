"""What the button means while a run is on, and that it means nothing else."""

import pytest

from emberbed.records import decode_record
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.plan import FAN_NEVER, FAN_ON_PRESS, FAN_WHEN_SOLID
from emberbed_fw.record import OUT_FAN
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.touches import READ_TICKS
from emberbed_fw.units import NONE
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, hold, ramp
from tests.support.situations import (
    AIR,
    NOZZLE_PROMPT,
    SECOND_HOLD,
    WAIT_PROMPT,
    at_stage,
    bench_in,
)


def tap(bench, taps=1):
    """Tap and wait until it is understood; return (touch, mark) of every tick that had one."""
    bench.tick(READ_TICKS)  # a question that has just come cannot be meant
    before = len(bench.tape)
    for _ in range(taps):
        bench.button = True
        bench.tick(2)
        bench.button = False
        bench.tick(3)
    bench.tick(10)
    said = [decode_record(packed) for packed in bench.tape[before:]]
    assert {one.touch_source for one in said if one.touch} <= {ms.BY_BUTTON}
    return [(one.touch, one.mark) for one in said if one.touch]


MEANS = {  # situation, taps, what it means
    "a mark in a ramp": ("second ramp", 1, [(ms.MARK, ms.MARK_NOTE)]),
    "a mark in a hold": ("second hold", 1, [(ms.MARK, ms.MARK_NOTE)]),
    "the answer": ("waiting", 1, [(ms.ANSWER, ms.MARK_FLUX_ON)]),
    "the nozzle": ("asking for the nozzle", 1, [(ms.ANSWER, ms.MARK_NOZZLE_ON)]),
    "a mark under hot air": ("under hot air", 1, [(ms.MARK, ms.MARK_SOLDER_MOVES)]),
    "hold here": ("second ramp", 2, [(ms.HOLD_HERE, 0)]),
    "go on": ("holding here in a ramp", 2, [(ms.GO_ON, 0)]),
    "a minute more": ("second hold", 3, [(ms.EXTEND, 0)]),
    "a minute more under hot air": ("under hot air", 3, [(ms.EXTEND, 0)]),
    "no minute more in a ramp": ("second ramp", 3, []),
    "no holding under hot air": ("under hot air", 2, []),
    "nothing for four": ("second hold", 4, []),
    "a mark while it cools": ("cooling", 1, [(ms.MARK, ms.MARK_NOTE)]),
    "nothing to hold while it cools": ("cooling", 2, []),
    "nothing while idle": ("idle", 1, []),
    "nothing while loaded": ("loaded", 2, []),
    "nothing while armed": ("cold proof", 1, []),
    "nothing when it is over": ("ended", 1, []),
    "nothing when tripped": ("tripped", 3, []),
}


@pytest.mark.parametrize(("situation", "taps", "means"), MEANS.values(), ids=MEANS)
def test_taps_mean(situation, taps, means):
    assert tap(bench_in(situation), taps) == means


def test_minute_more_is_a_minute():
    bench = bench_in("second hold")
    tap(bench, 3)
    assert bench.machine.sequencer.extra_ticks == 600


@pytest.mark.parametrize(
    "situation",
    ["first ramp", "second hold", "waiting", "asking for the nozzle", "under hot air",
     "open loop", "holding here in a ramp", "ramp without a reading"],
)  # fmt: skip
def test_held_for_a_second_means_cool_down(situation):
    bench = bench_in(situation)
    bench.raw = {}
    bench.tick(3)
    bench.button = True
    bench.tick(9)
    assert bench.state != rs.COOL
    bench.tick()
    said = bench.record
    assert (bench.state, said.verdict) == (rs.COOL, rs.FINISHED)
    assert (said.touch, said.touch_source) == (ms.COOL_DOWN, ms.BY_BUTTON)
    assert not bench.heats and not bench.contactor_driven
    bench.tick(30)
    bench.button = False
    bench.tick(30)
    assert bench.state == rs.COOL


def test_taps_before_a_long_press_mean_nothing_more():
    bench = bench_in("second hold")
    bench.button = True
    bench.tick(2)
    bench.button = False
    bench.tick(3)
    before = len(bench.tape)
    bench.press()
    bench.tick(20)
    touches = [decode_record(packed).touch for packed in bench.tape[before:]]
    assert [touch for touch in touches if touch] == [ms.COOL_DOWN]


def test_tap_answers_the_question_of_a_late_stage():
    stages = [ramp(2500, 9000, 100, longest_ticks=300), cool()]
    bench = Bench(build_plan(stages)).to_run()
    bench.tick(310)
    assert bench.record.prompt == LONGER_PROMPT
    assert tap(bench) == [(ms.ANSWER, 0)]
    assert bench.record.prompt == NONE


def test_answer_is_not_a_mark_as_well():
    bench = bench_in("waiting")
    assert tap(bench) == [(ms.ANSWER, ms.MARK_FLUX_ON)]
    bench.tick(20)
    assert bench.record.prompt != WAIT_PROMPT and bench.record.mark == 0


def test_air_is_not_away_by_a_tap_while_other_events_are_expected():
    bench = bench_in("under hot air")
    tap(bench)
    assert bench.record.prompt == AIR_AWAY_PROMPT and bench.machine.air_is_on()


def test_tap_that_comes_with_its_question_means_nothing():
    """The second half of a double tap answered the question after it: the nozzle was on."""
    bench = bench_in("waiting")
    bench.button = True
    while bench.record.prompt == NONE:
        bench.tick()
    bench.button = False
    bench.tick(READ_TICKS // 2)
    assert bench.state == rs.WAIT and bench.record.touch == 0
    assert tap(bench) == [(ms.ANSWER, ms.MARK_FLUX_ON)]


@pytest.mark.parametrize(("stood_ticks", "answers"), [(READ_TICKS - 1, 0), (READ_TICKS, 1)])
def test_question_is_answered_once_it_has_stood_for_a_second(stood_ticks, answers):
    bench = bench_in("second hold")
    while bench.record.prompt != WAIT_PROMPT:
        bench.tick()
    bench.tick(stood_ticks - 3)  # the tap takes two ticks and counts in the third
    bench.button = True
    bench.tick(2)
    bench.button = False
    bench.tick()
    assert bench.record.touch == (ms.ANSWER if answers else 0)


def test_second_half_of_a_double_tap_does_not_answer_the_next_question():
    """It said that the nozzle was on, half a second after the question before was answered."""
    bench = bench_in("waiting")
    bench.tick(READ_TICKS)
    for _ in range(2):
        bench.button = True
        bench.tick(2)
        bench.button = False
        bench.tick(3)
    bench.tick(20)
    assert bench.machine.stage() == AIR and bench.state == rs.WAIT
    assert not bench.machine.air_is_on() and bench.record.prompt == NOZZLE_PROMPT


@pytest.mark.parametrize("press", ["tap", "hold"])
def test_press_at_the_device_says_that_it_is_mended(press):
    bench = bench_in("cooling after a trip")
    assert bench.record.prompt == GO_ON_PROMPT
    if press == "tap":
        assert tap(bench) == [(ms.ANSWER, 0)]
    else:
        bench.tick(READ_TICKS)
        bench.press()
        assert (bench.record.touch, bench.record.touch_source) == (ms.ANSWER, ms.BY_BUTTON)
    assert bench.state == rs.COOL and not bench.heats, "an answer is no arming and no press"


# The fan.


def cooling(fan_starts, board_c=80.0):
    bench = at_stage(SECOND_HOLD, fan_starts=fan_starts, fan_below_cdeg=7000)
    bench.stop()
    bench.board_c = [board_c, board_c]
    bench.tick(150)
    return bench


def fan(bench):
    return bench.record.outputs & OUT_FAN != 0


def test_fan_waits_for_the_persons_press_where_the_plan_says_so():
    bench = cooling(FAN_ON_PRESS, 60.0)
    assert not fan(bench)
    assert tap(bench) == [(ms.FAN_NOW, 0)]
    assert fan(bench)
    assert tap(bench) == [(ms.MARK, ms.MARK_NOTE)], "the next one is a mark again"


def test_fan_starts_by_itself_once_the_solder_is_solid():
    assert not fan(cooling(FAN_WHEN_SOLID, 80.0))
    assert fan(cooling(FAN_WHEN_SOLID, 60.0))


def test_fan_may_be_started_before_that_by_a_person():
    bench = cooling(FAN_WHEN_SOLID, 80.0)
    assert ms.REFUSAL_NAMES[bench.touch(ms.FAN_NOW)] == "DONE"
    assert fan(bench)


def test_fan_that_must_not_run_never_runs():
    bench = cooling(FAN_NEVER, 60.0)
    assert ms.REFUSAL_NAMES[bench.touch(ms.FAN_NOW)] == "WRONG_STATE"
    tap(bench)
    assert not fan(bench)


def test_fan_of_the_run_before_is_forgotten():
    bench = cooling(FAN_ON_PRESS, 60.0)
    bench.touch(ms.FAN_NOW)
    bench.board_c = [25.0, 25.0]
    bench.until(rs.STOPPED)
    bench.board_c = [60.0, 60.0]
    bench.plan = build_plan([hold(6000, 20), cool()], fan_starts=FAN_ON_PRESS)
    bench.to_run()
    bench.until(rs.COOL)
    bench.tick(50)
    assert not fan(bench)
