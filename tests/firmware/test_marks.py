"""Events that a person marks: the next expected one by default, or any one by name."""

import pytest

from emberbed.records import decode_record
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.touches import READ_TICKS
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, hold, hot_air, ramp, wait
from tests.support.situations import bench_in

NOZZLE, MOVES, OFF, AWAY = (
    ms.MARK_NOZZLE_ON, ms.MARK_SOLDER_MOVES, ms.MARK_CHIP_OFF, ms.MARK_AIR_AWAY,
)  # fmt: skip
FLUX, ON, NOTE, NEXT = ms.MARK_FLUX_ON, ms.MARK_CHIP_ON, ms.MARK_NOTE, ms.MARK_NEXT


def expected(*marks):
    """Return a stage's `marks` field: four bits for each event, the first one lowest."""
    return sum(mark << 4 * place for place, mark in enumerate(marks))


def holding(*marks):
    bench = Bench(build_plan([hold(6000, 400, marks=expected(*marks)), hold(6000, 300), cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run().tick(2)
    return bench


def mark(bench, *asked):
    """Mark one event in each tick; return what was noted."""
    noted = []
    for event in asked:
        assert ms.REFUSAL_NAMES[bench.touch(ms.MARK, event)] == "DONE"
        noted.append(bench.record.mark)
    return noted


def tap(bench):
    """Tap once and wait until it is understood; return what was noted."""
    bench.tick(READ_TICKS)  # a question that has just come cannot be meant
    bench.button = True
    bench.tick(2)
    bench.button = False
    before = len(bench.tape)
    bench.tick(10)
    return [m for m in (decode_record(packed).mark for packed in bench.tape[before:]) if m]


# what is expected, what is asked for, what is noted
ORDERS = {
    "in order": ((FLUX, MOVES, OFF), (NEXT, NEXT, NEXT), [FLUX, MOVES, OFF]),
    "by name in order": ((FLUX, MOVES), (FLUX, NEXT), [FLUX, MOVES]),
    "one left out": ((FLUX, MOVES, OFF), (MOVES, NEXT), [MOVES, OFF]),
    "the last one at once": ((FLUX, MOVES, OFF), (OFF, NEXT), [OFF, NOTE]),
    "one that is not expected": ((FLUX, MOVES), (ON, NEXT, NEXT), [ON, FLUX, MOVES]),
    "one that was expected before": ((FLUX, MOVES, OFF), (NEXT, FLUX, NEXT), [FLUX, FLUX, MOVES]),
    "the same twice": ((FLUX, MOVES), (FLUX, FLUX, NEXT), [FLUX, FLUX, MOVES]),
    "the same expected twice": ((OFF, ON, OFF), (NEXT,) * 3, [OFF, ON, OFF]),
    "more than are expected": ((FLUX,), (NEXT, NEXT, NEXT), [FLUX, NOTE, NOTE]),
    "nothing expected": ((), (NEXT, FLUX, NEXT), [NOTE, FLUX, NOTE]),
    "a note changes nothing": ((FLUX, MOVES), (NOTE, NEXT), [NOTE, FLUX]),
    "four of them": ((FLUX, MOVES, OFF, ON), (NEXT,) * 5, [FLUX, MOVES, OFF, ON, NOTE]),
}


@pytest.mark.parametrize(("plan", "asked", "noted"), ORDERS.values(), ids=ORDERS)
def test_order_of_marks(plan, asked, noted):
    assert mark(holding(*plan), *asked) == noted


def test_mark_is_of_one_tick_and_has_its_source():
    bench = holding(FLUX)
    bench.touch(ms.MARK, NEXT, ms.BY_PAGE)
    said = bench.record
    assert (said.touch, said.touch_source, said.mark) == (ms.MARK, ms.BY_PAGE, FLUX)
    bench.tick()
    assert (bench.record.touch, bench.record.mark) == (0, 0)


def test_next_stage_expects_its_own_events():
    stages = [hold(6000, 20, marks=expected(FLUX, MOVES)), hold(6000, 300, marks=expected(ON))]
    bench = Bench(build_plan([*stages, cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run().tick(2)
    assert mark(bench, NEXT) == [FLUX]
    bench.until_stage(1)
    assert mark(bench, NEXT, NEXT) == [ON, NOTE], "flux and solder will not come any more"


def test_tap_marks_the_next_event():
    bench = holding(FLUX, MOVES)
    assert tap(bench) == [FLUX]
    assert tap(bench) == [MOVES]
    assert tap(bench) == [NOTE]


def test_marks_go_on_in_the_cooling():
    bench = bench_in("cooling")
    assert mark(bench, ON, NEXT) == [ON, NOTE]
    assert bench.state == rs.COOL
    assert tap(bench) == [NOTE]


def test_new_run_expects_everything_again():
    bench = holding(FLUX, MOVES)
    mark(bench, NEXT)
    bench.stop()
    bench.tick()
    bench.board_c = [25.0, 25.0]
    bench.until(rs.STOPPED)
    bench.board_c = [60.0, 60.0]
    bench.to_run().tick(2)
    assert mark(bench, NEXT) == [FLUX]


@pytest.mark.parametrize("situation", ["idle", "loaded", "cold proof", "ended"])
def test_mark_without_a_run_is_refused(situation):
    bench = bench_in(situation)
    assert ms.REFUSAL_NAMES[bench.touch(ms.MARK, FLUX)] == "NO_RUN"
    assert bench.record.mark == 0


# Marks and answers that stand for each other.


def at_wait(*marks):
    stages = [hold(6000, 5), wait(6000, prompt=3, marks=expected(*marks)), ramp(6000, 8000, 100)]
    bench = Bench(build_plan([*stages, cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until_stage(1)
    bench.tick(2)
    return bench


def test_answer_of_a_wait_marks_what_it_waited_for():
    bench = at_wait(FLUX)
    bench.acknowledge(3)
    bench.tick()
    assert (bench.record.touch, bench.record.mark, bench.record.stage) == (ms.ANSWER, FLUX, 2)


def test_answer_of_a_wait_that_expects_nothing_marks_nothing():
    bench = at_wait()
    bench.acknowledge(3)
    bench.tick()
    assert (bench.record.touch, bench.record.mark) == (ms.ANSWER, 0)


def test_mark_does_not_answer_for_a_wait():
    bench = at_wait(FLUX, ON)
    mark(bench, FLUX)
    bench.tick(5)
    assert bench.state == rs.WAIT and bench.record.prompt == 3


def at_nozzle():
    stages = [hold(6000, 5), hot_air(6000, prompt=3, marks=expected(NOZZLE, MOVES, OFF, AWAY))]
    bench = Bench(build_plan([*stages, cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until_stage(1)
    bench.tick(2)
    return bench


def test_mark_of_the_nozzle_begins_hot_air():
    bench = at_nozzle()
    assert mark(bench, NOZZLE) == [NOZZLE]
    assert bench.state == rs.RUN and bench.record.prompt == AIR_AWAY_PROMPT


def test_answer_that_the_nozzle_is_on_marks_it():
    bench = at_nozzle()
    bench.acknowledge(3)
    bench.tick()
    assert bench.record.mark == NOZZLE and bench.record.prompt == AIR_AWAY_PROMPT
    assert mark(bench, NEXT, NEXT) == [MOVES, OFF]


@pytest.mark.parametrize("before", [(), (MOVES,), (MOVES, OFF)])
def test_mark_that_the_air_is_away_ends_hot_air(before):
    bench = at_nozzle()
    mark(bench, NOZZLE, *before, AWAY)
    assert bench.record.mark == AWAY and bench.state == rs.COOL


def test_taps_alone_lead_through_hot_air():
    bench = at_nozzle()
    assert tap(bench) == [NOZZLE], "the answer to the question"
    assert [tap(bench), tap(bench), tap(bench)] == [[MOVES], [OFF], [AWAY]]
    assert bench.state == rs.COOL


def test_answer_that_the_air_is_away_marks_it():
    bench = at_nozzle()
    mark(bench, NOZZLE, MOVES)
    bench.acknowledge(AIR_AWAY_PROMPT)
    bench.tick()
    assert bench.record.mark == AWAY and bench.state == rs.COOL


def test_mark_of_the_nozzle_answers_no_other_question():
    """Held past its question in a stage that will ask for the nozzle."""
    bench = at_nozzle()
    bench.touch(ms.LAST_PLATEAU)
    bench.tick(2450)
    assert bench.record.prompt == LONGER_PROMPT
    prompt, deadline = bench.record.prompt, bench.machine.sequencer.left_ticks()
    mark(bench, NOZZLE)
    assert bench.record.prompt == prompt
    assert bench.machine.sequencer.left_ticks() == deadline - 1


# Before the first stage there is nothing to mark, whatever else comes in that tick.


@pytest.mark.parametrize("situation", ["loaded", "cold proof", "hot proof"])
@pytest.mark.parametrize("event", [NEXT, FLUX])
def test_mark_in_the_tick_of_a_stop_is_no_error(situation, event):
    bench = bench_in(situation)
    bench.stop()
    bench.ask_touch(ms.MARK, event)
    bench.tick()
    assert bench.state == rs.COOL and bench.trip == 0


@pytest.mark.parametrize("situation", ["loaded", "cold proof"])
def test_tap_in_the_tick_of_a_stop_is_no_error(situation):
    bench = bench_in(situation)
    bench.button = True
    bench.tick(2)
    bench.button = False
    bench.tick(6)  # in the next tick the tap is counted
    bench.stop()
    bench.tick(2)
    assert bench.state == rs.COOL and bench.trip == 0
