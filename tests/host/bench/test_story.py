"""Sentences for what changes, from tapes of the closed loop."""

import pytest

from emberbed.bench.calls import AIR_AWAY_TEXT, LONGER_TEXT, PRESS_TEXT, prompt_text
from emberbed.bench.story import QUIET_TICKS, Story
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.trip_codes import HEAT_UNCOMMANDED, SENSOR_OPEN
from emberbed_sim.closed_loop import Operator
from tests.support.profiles import PROMPT, hold_profile
from tests.support.tapes import loop_of, plan_of, rehearsed

PROFILE = hold_profile(for_s=20, to_c=55, prompt=PROMPT)
NAMES = {0: "top_near_chip", 1: "edge"}


def new_story():
    plan, prompts = plan_of(PROFILE)
    return Story(decode_plan(plan), prompts, NAMES)


def told(*faults, operator=None):
    """Return [(record, kind, sentence)] of one run."""
    story = new_story()
    return [
        (record, kind, sentence)
        for record in map(decode_record, loop_of(PROFILE, *faults, operator=operator).run())
        for kind, sentence in story.follow(record)
    ]


def test_a_run_without_trouble_is_told_in_order():
    events = [(kind, sentence) for _record, kind, sentence in told()]
    assert [kind for kind, _ in events] == [
        "warning", "press", "state", "stage", "stage", "ahead", "stage", "prompt", "answer",
        "state", "stage", "state",
    ]  # fmt: skip
    sentences = [sentence for _kind, sentence in events]
    assert sentences.pop(0) == (
        "This heater has not been identified: the guard only asks and slows down."
    )
    # the ceiling: 5 °C above the highest stage, as much as a person may add (contracts.md)
    assert sentences[0] == f"{PRESS_TEXT}: never above 60 °C, whatever is changed."
    assert sentences[1] == "Checking the heater with short pulses."
    assert sentences[2] == "Stage 1 of 4: ramp to 55 °C."
    assert sentences[3] == "Stage 2 of 4: hold 55 °C for 0:20 min."
    assert sentences[4] == f"In 20 s you are needed: {PROMPT}."
    assert sentences[6].startswith(f"{PROMPT}: board 5")
    assert sentences[7] == "Answered, from a script."
    assert sentences[8:] == [
        "Cooling down, heat is off.", "Stage 4 of 4: cool below 50 °C.", "Finished.",
    ]  # fmt: skip


def test_a_warning_is_told_when_it_begins_and_again_only_after_a_quiet_while():
    story = new_story()
    first = decode_record(next(iter(loop_of(PROFILE).run())))
    course = [0] * 3 + [trip_codes.WARN_FAN] * 5 + [0] * (QUIET_TICKS - 2) + [trip_codes.WARN_FAN]
    course += [0] * (QUIET_TICKS + 2) + [trip_codes.WARN_FAN | trip_codes.NOTE_RESTED]
    told = {}
    for tick, warnings in enumerate(course, start=first.tick):
        events = story.follow(first._replace(tick=tick, warnings=warnings))
        if any(kind == "warning" for kind, _ in events):
            told[tick - first.tick] = [sentence for kind, sentence in events if kind == "warning"]
    assert told == {
        3: ["The fan does not do what it is told."],
        len(course) - 1: ["The fan does not do what it is told."],
    }


def test_every_event_is_told_with_the_record_that_shows_it():
    for record, kind, _sentence in told():
        if kind == "prompt":
            assert record.waits_for == rs.WAITS_OPERATOR
        if kind == "press":
            assert record.waits_for == rs.WAITS_PRESS


def test_a_trip_names_the_sensor_and_the_mend_before_the_cooling_it_causes():
    events = [(kind, sentence) for _record, kind, sentence in told("tc_open@40s#1")]
    kinds = [kind for kind, _ in events]
    trip = kinds.index("trip")
    assert "sensor edge is open" in events[trip][1]
    assert "go on or start a new run" in events[trip][1]
    assert events[trip + 1][0] == "clears"
    assert events[trip + 2] == ("state", "Cooling down, heat is off.")
    assert events[-1] == ("state", "Tripped, heat stays off.")


def test_what_goes_wrong_after_a_trip_is_told_as_such():
    story, record = new_story(), decode_record(next(loop_of(PROFILE).run()))
    first = record._replace(tick=2, trip=SENSOR_OPEN)
    second = first._replace(tick=3, second_trip=HEAT_UNCOMMANDED)
    story.follow(record)
    opened, clears = story.follow(first)
    assert clears[0] == "clears"
    (stuck,) = story.follow(second)
    assert opened[1].startswith("The thermocouple of")
    assert stuck[1].startswith("And then: Heater current flows")
    assert story.follow(second._replace(tick=4)) == []


def test_a_lost_pc_link_is_told():
    events = [(kind, sentence) for _record, kind, sentence in told("host_silent@40s")]
    assert [one for kind, one in events if kind == "link"] == [
        "The PC link was silent for more than 2 s."
        " Check the cable, keep the PC from going to sleep, then go on or start a new run."
    ]


def test_a_prompt_that_ends_with_a_stop_was_not_answered():
    at_the_prompt = Operator(answers_after_s=1e6, stops_at_s=200.0)
    kinds = [kind for _record, kind, _sentence in told(operator=at_the_prompt)]
    assert "prompt" in kinds
    assert "answer" not in kinds


def test_times_count_from_the_first_record():
    story = new_story()
    records = list(map(decode_record, loop_of(PROFILE).run(30)))
    late = [record._replace(tick=record.tick + 1_000_000) for record in records]
    for record in late:
        story.follow(record)
    assert story.seconds_of(late[0].tick) == 0
    assert story.clock(late[0].tick + 754) == "   1:15"  # 75.4 s
    assert story.clock(None).strip() == "--:--"
    assert len(story.clock(None)) == len(story.clock(late[0].tick))


def test_prompts_have_words_even_when_the_profile_has_none():
    assert prompt_text(0, [PROMPT]) == PROMPT
    assert prompt_text(LONGER_PROMPT, [PROMPT]) == LONGER_TEXT
    assert prompt_text(AIR_AWAY_PROMPT, [PROMPT]) == AIR_AWAY_TEXT
    assert prompt_text(7, [PROMPT]) == "Answer when you are ready"


@pytest.mark.parametrize("word", ["lease", "plan ", "knot", "digest", "shadow"])
def test_no_inner_word_is_told(word):
    sentences = [sentence for _tick, _kind, sentence in rehearsed().events]
    sentences += [one for _, _, one in told("tc_open@40s")]
    assert not any(word in sentence for sentence in sentences)
