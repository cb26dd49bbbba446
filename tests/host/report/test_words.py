"""Every code of the firmware has its sentence, and no inner word reaches the bench."""

import re
from importlib.resources import files

import pytest

from emberbed import refusal_words, touch_words, trip_titles, words
from emberbed.store.schema import RUN_STATES
from emberbed_fw import messages, plan, run_states, trip_codes

# contracts.md, "Defaults at the bench": words that confuse there
INNER_WORDS = re.compile(r"\b(lease|plan|knot|digest|shadow)s?\b", re.IGNORECASE)


def constants(module, prefix):
    return {name: getattr(module, name) for name in dir(module) if name.startswith(prefix)}


def all_sentences():
    for table in (words.STATES, words.VERDICTS, words.WAITS, words.WITHHELD, refusal_words.REFUSALS,
                  words.STAGE_KINDS, words.ROLES, touch_words.TOUCHES, touch_words.MARKS,
                  touch_words.SOURCES, refusal_words.SPECIAL_REFUSALS):  # fmt: skip
        yield from table.values()
    for trip in words.TRIPS.values():
        yield from trip
    yield from refusal_words.PLAN_FAULTS
    yield from trip_titles.TRIP_TITLES.values()
    yield from (words.HOT, words.READY, words.NOTHING_HEATED, trip_titles.UNPLUG)


def test_every_table_has_exactly_the_firmware_s_names():
    assert set(words.TRIPS) == {name for _code, name, _reaction in trip_codes.TRIPS}
    assert set(trip_titles.TRIP_TITLES) == set(words.TRIPS)
    assert set(words.STATES) == set(run_states.STATE_NAMES)
    assert set(words.WAITS) == set(constants(run_states, "WAITS_"))
    assert set(words.WITHHELD) == set(constants(trip_codes, "WITHHELD_"))
    assert set(refusal_words.REFUSALS) == set(messages.REFUSAL_NAMES)
    assert set(words.STAGE_KINDS) == set(plan.KIND_NAMES)
    assert set(words.ROLES) == set(plan.ROLE_NAMES)
    assert set(words.VERDICTS) == set(RUN_STATES)
    assert len(refusal_words.PLAN_FAULTS) == len(plan.PLAN_FAULTS)
    assert set(touch_words.TOUCHES) == set(messages.TOUCH_NAMES.values())
    assert list(touch_words.MARKS) == list(messages.MARK_NAMES)
    assert list(touch_words.SOURCES) == list(messages.SOURCE_NAMES)


def test_every_code_gets_its_own_words():
    for code, _name, _reaction in trip_codes.TRIPS:
        happened, mend = words.trip_words(code, "edge")
        assert happened.endswith(".") and mend.endswith("."), code
        assert "{" not in happened + mend
        assert happened.count(". ") == mend.count(". ") == 0, "one sentence each"
    texts = [words.trip_words(code) for code, _name, _reaction in trip_codes.TRIPS]
    assert len(set(texts)) == len(texts)
    states = [words.state_words(code) for code in range(len(run_states.STATE_NAMES))]
    assert len(set(states)) == len(states)
    waits = [words.wait_words(code) for code in constants(run_states, "WAITS_").values()]
    assert len(set(waits)) == len(waits)


def test_no_inner_word_is_said():
    for sentence in all_sentences():
        assert not INNER_WORDS.search(sentence), sentence
    assert INNER_WORDS.search("the lease ran out")


def test_what_the_bench_must_hear():
    # contracts.md: a short to ground wants one layer of polyimide tape under the bead
    happened, mend = words.trip_words(trip_codes.SENSOR_SHORT_GROUND, "edge")
    assert "edge" in happened and "touches metal" in happened
    assert "one layer of polyimide tape under" in mend
    # reliability.md 1b: a stuck switch is not mended by switching it off again
    unplug = (trip_codes.HEAT_UNCOMMANDED, trip_codes.CONTACTOR_STUCK_CLOSED)
    assert unplug == trip_titles.UNPLUG_TRIPS
    for code in unplug:
        assert words.trip_words(code).mend.startswith("Pull the mains plug now")


@pytest.mark.parametrize(
    ("exceeded", "tail"),
    [(0, "No limits exceeded."), (1, "1 limit exceeded."), (3, "3 limits exceeded.")],
)
def test_finished_is_followed_by_the_count_of_limits_exceeded(exceeded, tail):
    assert words.verdict_words("finished", exceeded).endswith(tail)
    assert "not counted" in words.verdict_words("finished")


def test_a_run_stopped_before_heat_says_that_nothing_was_heated():
    assert words.verdict_words("stopped", 0, 0) == "Stopped before heating: nothing was heated."
    assert words.verdict_words("stopped", 0, 1) == words.VERDICTS["stopped"]
    assert words.verdict_words("stopped") == words.VERDICTS["stopped"]
    assert words.verdict_words("tripped", 0, 0) == words.VERDICTS["tripped"]


def test_withheld_bits_are_all_told():
    bits = constants(trip_codes, "WITHHELD_")
    assert len(words.withheld_words(sum(bits.values()))) == len(bits)
    assert words.withheld_words(0) == []
    assert words.withheld_words(trip_codes.WITHHELD_LEASE) == ["nobody answers for the heat"]


def test_warnings_are_all_told_and_the_note_is_none():
    bits = constants(trip_codes, "WARN_")
    assert set(words.WARNINGS) == set(bits)
    told = words.warning_words(sum(bits.values()) | trip_codes.NOTE_RESTED)
    assert len(told) == len(bits) and all(sentence.endswith((".", "?")) for _, sentence in told)
    assert words.warning_words(trip_codes.NOTE_RESTED) == []
    assert words.warning_words(trip_codes.WARN_SECOND_SWITCH)[0][1] == (
        "The second switch is commanded, not proved."
    )


def test_plan_faults_are_told_by_their_row():
    for row in range(len(plan.PLAN_FAULTS)):
        assert refusal_words.refusal_words(messages.BAD_PLAN, row) == refusal_words.PLAN_FAULTS[row]


@pytest.mark.parametrize(
    "told",
    [
        lambda: words.state_words(77),
        lambda: words.wait_words(77),
        lambda: words.trip_words(77).happened,
        lambda: words.withheld_words(32768)[0],
        lambda: words.warning_words(64)[0][0],
        lambda: refusal_words.refusal_words(77),
        lambda: refusal_words.refusal_words(messages.BAD_PLAN, 77),
        lambda: words.verdict_words("melted"),
        lambda: touch_words.touch_words(77),
        lambda: touch_words.mark_words(77),
        lambda: touch_words.source_words(77),
    ],
)
def test_a_code_of_a_newer_device_is_told_too(told):
    assert "does not know" in told()


def test_the_words_of_hands_stand_in_the_document_of_the_data():
    text = (files("emberbed") / "docs" / "data.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `(\w+)` \| ([^|]+) \|$", text, re.M))
    wanted = {**touch_words.TOUCHES, **touch_words.MARKS}
    del wanted["NEXT"]  # a request, never in a record
    assert set(wanted.items()) <= listed
