"""What the page says in each moment of a run, from the firmware's own records.

The sentences are those of the terminal: the same functions, without its keys.
"""

import json
import re

import pytest

from emberbed.bench import key_table
from emberbed.bench.calls import call_of
from emberbed.page.facts import facts_of
from emberbed_fw.units import TICKS_PER_S
from tests.host.bench import moments

INNER_WORDS = ("lease", "plan", "knot", "digest", "shadow", "q15", "cdeg")
KEY_NAMES = re.compile(r"\b(Enter|Ctrl-C|[A-Z] (go on|cool|next stage|air is away))\b")


def facts_in(moment):
    story = moments.story_of(moment())
    assert story.progress.newest is not None
    return facts_of(story.progress.newest, story)


@pytest.mark.parametrize("moment", moments.MOMENTS)
def test_facts_are_plain_data_without_inner_words_or_keys(moment):
    facts = facts_in(moment)
    shown = json.dumps({**facts, "changes": [one["label"] for one in facts["changes"]]},
                       allow_nan=False)  # fmt: skip
    said = " ".join(re.findall(r'"((?:[^"\\]|\\.)*)"(?!:)', shown))
    assert not [word for word in INNER_WORDS if re.search(rf"\b{word}\b", said, re.IGNORECASE)]
    assert not KEY_NAMES.search(said), KEY_NAMES.search(said)


@pytest.mark.parametrize("moment", moments.MOMENTS)
def test_what_can_be_changed_is_what_the_terminal_offers(moment):
    story = moments.story_of(moment())
    facts = facts_of(story.progress.newest, story)
    offered = {row.key for row in key_table.KEYS if row.hint(story.progress)} - {"m"}
    assert {change["key"] for change in facts["changes"]} == offered
    assert bool(facts["mark"]) == bool(key_table.BY_KEY["m"].hint(story.progress))


def test_before_the_press_the_page_points_to_the_device():
    facts = facts_in(moments.armed)
    assert facts["press"]["text"].startswith("Hold the button on the device")
    assert "never above" in facts["press"]["most"]
    assert (facts["ask"], facts["heating"]) == (None, False)
    assert facts["now"]["heater"] == {
        "does": "off",
        "why": "no heat before the press at the device",
    }


def test_a_question_has_its_answer_and_the_board():
    facts = facts_in(moments.flux_wait)
    assert facts["ask"]["text"] == moments.PROMPTS[moments.FLUX]
    assert facts["ask"]["answer"] == "done"
    assert facts["ask"]["prompt"] == moments.FLUX
    assert facts["touch"]["level"] == "tools"
    assert facts["mark"] == "mark 'flux on'"


def test_a_held_stage_is_gone_on_with_by_the_same_control():
    facts = facts_in(moments.held)
    assert facts["ask"]["answer"] == "go on"
    assert facts["now"]["doing"].startswith("held here")


def test_while_it_heats_the_board_is_left_alone():
    facts = facts_in(moments.first_ramp)
    assert facts["touch"]["level"] == "leave"
    assert facts["now"]["heater"]["does"] in ("heats", "rests")
    assert "60 °C" in facts["now"]["heater"]["why"]


def test_the_heat_is_told_apart_from_the_board_in_cooling():
    facts = facts_in(moments.cooling)
    assert facts["now"]["heater"]["does"] == "off"
    assert facts["touch"]["heater"]


def test_the_next_steps_have_times_as_far_as_the_plan_knows():
    story = moments.story_of(moments.first_hold())
    record = story.progress.newest
    steps = facts_of(record, story)["next"]["steps"]
    left_s = (story.progress.planned_ticks() - record.stage_tick) / TICKS_PER_S
    assert steps[0]["asks"] and moments.PROMPTS[0] in steps[0]["text"]
    assert steps[0]["in_s"] == pytest.approx(left_s)
    assert [step["in_s"] for step in steps[1:]] == [None, None]  # a person takes their time


def test_before_the_press_times_count_from_it():
    steps = facts_in(moments.armed)["next"]["steps"]
    assert [step["in_s"] for step in steps] == [0.0, 10.0, 50.0]  # a ramp of 10 s, a hold of 40 s
    assert [step["asks"] for step in steps] == [False, False, True]


def test_the_line_ahead_ends_where_the_person_is_needed():
    line = facts_in(moments.first_ramp)["next"]["line"]
    assert line[-1][1] == 60.0
    assert line[-1][0] == pytest.approx(50, abs=1)  # the ramp of 10 s has just begun
    assert facts_in(moments.held)["next"]["line"] == []


def test_half_a_minute_ahead_the_person_is_called():
    story = moments.story_of(moments.first_hold())
    facts = facts_of(story.progress.newest, story)
    assert facts["next"]["person_in_s"] is None or facts["next"]["person_in_s"] <= 30
    called = call_of(story.progress, story.prompts, story.names, keyed=False)
    assert (facts["next"]["call"] is None) == (called is None)


@pytest.mark.parametrize("moment", [moments.stuck, moments.air_on, moments.cooling_waits_for_fan])
def test_the_terminal_says_the_same_with_its_keys(moment):
    progress = moments.story_of(moment()).progress
    keyed = call_of(progress, moments.PROMPTS, moments.NAMES)
    plain = call_of(progress, moments.PROMPTS, moments.NAMES, keyed=False)
    assert keyed.text != plain.text
    assert not KEY_NAMES.search(plain.text)
