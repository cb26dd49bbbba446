"""Every change of a person in every situation: accepted, or refused with a code and no effect."""

import itertools

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import record
from emberbed_fw import run_states as rs
from emberbed_fw.snapshot import take_snapshot
from tests.support.situations import SITUATIONS, bench_in

# A change that is in range everywhere, by what it is asked for.
CHANGES = {
    "hold here": (ms.HOLD_HERE, 0),
    "go on": (ms.GO_ON, 0),
    "a minute more": (ms.EXTEND, 600),
    "next stage": (ms.NEXT_STAGE, 0),
    "last plateau": (ms.LAST_PLATEAU, 0),
    "warmer": (ms.OFFSET, 200),
    "cool down": (ms.COOL_DOWN, 0),
    "mark": (ms.MARK, ms.MARK_NOTE),
    "fan now": (ms.FAN_NOW, 0),
    "nothing": (0, 0),
    "no touch we know": (ms.FAN_NOW + 1, 0),
    "an answer": (ms.ANSWER, 0),
    "anything": (255, -1),
}
D, N, R, S, P = ms.DONE, ms.NO_RUN, ms.BAD_RANGE, ms.WRONG_STATE, ms.NO_PLATEAU
# one row per situation, in the order of CHANGES
ANSWERS = {
    "idle": (N, N, N, N, N, N, N, N, N, N, N, N, N),
    "loaded": (N, N, N, N, N, N, N, N, N, N, N, N, N),
    "cold proof": (N, N, N, N, N, N, N, N, N, N, N, N, N),
    "hot proof": (N, N, N, N, N, N, N, N, N, N, N, N, N),
    "first ramp": (D, S, S, D, P, D, D, D, N, R, R, R, R),
    "first hold": (D, S, D, D, P, D, D, D, N, R, R, R, R),
    "second ramp": (D, S, S, D, D, D, D, D, N, R, R, R, R),
    "second hold": (D, S, D, D, D, D, D, D, N, R, R, R, R),
    # the board stands still already
    "waiting": (S, S, D, D, D, D, D, D, N, R, R, R, R),
    "asking for the nozzle": (S, S, D, D, D, D, D, D, N, R, R, R, R),
    # the bottom heater stays as it is
    "under hot air": (S, S, D, D, S, D, D, D, N, R, R, R, R),
    # open loop: no setpoint to stand at or to shift
    "open loop": (S, S, S, D, S, S, D, D, N, R, R, R, R),
    "holding here in a ramp": (D, D, S, D, D, D, D, D, N, R, R, R, R),
    "holding here in a hold": (D, D, D, D, D, D, D, D, N, R, R, R, R),
    "held while waiting": (D, D, D, D, D, D, D, D, N, R, R, R, R),
    # what needs to know where the board is waits until that is known
    "ramp without a reading": (S, S, S, S, S, S, D, D, N, R, R, R, R),
    "holding here without a reading": (S, S, S, S, S, S, D, D, N, R, R, R, R),
    "cooling": (N, N, N, N, N, N, N, D, D, N, N, N, N),
    "cooling without a fan": (N, N, N, N, N, N, N, D, S, N, N, N, N),
    "cooling with a fan that must not run": (N, N, N, N, N, N, N, D, S, N, N, N, N),
    "cooling without a plan": (N, N, N, N, N, N, N, N, N, N, N, N, N),
    "cooling after a trip": (N, N, N, N, N, N, N, D, D, N, N, N, N),
    "ended": (N, N, N, N, N, N, N, N, N, N, N, N, N),
    "tripped": (N, N, N, N, N, N, N, N, N, N, N, N, N),
}
PRODUCT = [
    (situation, change, ANSWERS[situation][number])
    for situation, (number, change) in itertools.product(SITUATIONS, enumerate(CHANGES))
]


def fixed_part(bench):
    return bench.packed[: record.FIXED_BYTES]


def test_table_is_the_whole_product():
    assert set(ANSWERS) == set(SITUATIONS)
    assert {len(row) for row in ANSWERS.values()} == {len(CHANGES)}
    assert set(ms.TOUCH_NAMES) <= {touch for touch, _amount in CHANGES.values()}


@pytest.mark.parametrize(("situation", "change", "answer"), PRODUCT)
def test_change_is_answered_by_its_situation(situation, change, answer):
    touch, amount = CHANGES[change]
    bench = bench_in(situation)
    said = bench.touch(touch, amount, ms.BY_PAGE)
    assert ms.REFUSAL_NAMES[said] == ms.REFUSAL_NAMES[answer]
    told = (bench.record.touch, bench.record.touch_source)
    assert told == ((touch, ms.BY_PAGE) if answer == ms.DONE else (0, ms.BY_NOBODY))
    # what was asked for is in the record either way, with its tick and its source
    assert bench.packed.endswith(bytes([ms.STAGE_REQUEST, 4, touch]) + bench.packed[-3:])
    assert bench.packed[-1] == ms.BY_PAGE


def assert_changes_nothing(situation, touch, amount, answer):
    """Ask one of two equal benches; both must go on with the same memory and the same record."""
    touched, other = bench_in(situation), bench_in(situation)
    assert ms.REFUSAL_NAMES[touched.touch(touch, amount)] == ms.REFUSAL_NAMES[answer]
    other.tick()
    assert take_snapshot(touched.machine) == take_snapshot(other.machine)
    assert fixed_part(touched) == fixed_part(other)


@pytest.mark.parametrize(
    ("situation", "change", "answer"), [row for row in PRODUCT if row[2] != ms.DONE]
)
def test_refused_change_changes_nothing(situation, change, answer):
    assert_changes_nothing(situation, *CHANGES[change], answer)


@pytest.mark.parametrize(("situation", "change"), [row[:2] for row in PRODUCT if row[2] == ms.DONE])
def test_accepted_change_is_seen_in_the_memory(situation, change):
    # the comparison above would see it
    touched, other = bench_in(situation), bench_in(situation)
    touched.touch(*CHANGES[change])
    other.tick()
    assert take_snapshot(touched.machine) != take_snapshot(other.machine)


# Amounts outside their range, where the change itself would be taken.
OUT_OF_RANGE = [
    ("second hold", ms.EXTEND, 0), ("second hold", ms.EXTEND, -1), ("second hold", ms.EXTEND, 601),
    ("second hold", ms.EXTEND, 32767), ("second ramp", ms.OFFSET, 501),
    ("second ramp", ms.OFFSET, -501), ("second ramp", ms.OFFSET, -32768),
    ("second hold", ms.MARK, -1), ("second hold", ms.MARK, ms.MARK_NOTE + 1),
    ("cooling", ms.MARK, ms.MARK_NOTE + 1), ("cooling", ms.MARK, -32768),
]  # fmt: skip


@pytest.mark.parametrize(("situation", "touch", "amount"), OUT_OF_RANGE)
def test_amount_out_of_range_changes_nothing(situation, touch, amount):
    assert_changes_nothing(situation, touch, amount, ms.BAD_RANGE)


@pytest.mark.parametrize("prompt", [0, 6, 252, 253, 254])
@pytest.mark.parametrize("situation", ["first ramp", "second hold", "waiting", "cooling"])
def test_answer_to_a_question_that_is_gone_changes_nothing(situation, prompt):
    touched, other = bench_in(situation), bench_in(situation)
    touched.acknowledge(prompt)
    touched.tick()
    other.tick()
    assert ms.REFUSAL_NAMES[touched.refusals[-1]] == "WRONG_PROMPT"
    assert take_snapshot(touched.machine) == take_snapshot(other.machine)


def test_two_changes_in_one_tick_are_carried_out_in_order():
    bench = bench_in("second ramp")
    for touch, amount in ((ms.HOLD_HERE, 0), (ms.OFFSET, 100), (ms.GO_ON, 0)):
        bench.ask_touch(touch, amount)
    bench.tick()
    assert bench.refusals[-3:] == [ms.DONE] * 3
    assert bench.record.touch == ms.GO_ON, "the newest is told; all are in the record's commands"
    assert bench.machine.sequencer.held == 0 and bench.record.offset_cdeg == 100


def test_cooling_down_at_the_end_of_a_tick_leaves_nothing_to_change():
    bench = bench_in("second hold")
    bench.ask_touch(ms.COOL_DOWN)
    bench.ask_touch(ms.HOLD_HERE)
    bench.tick()
    assert bench.refusals[-2:] == [ms.DONE, ms.NO_RUN]
    assert bench.state == rs.COOL and bench.record.verdict == rs.FINISHED and not bench.heats
