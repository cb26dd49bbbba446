"""Words for what hands do: none missing, none that only we understand."""

import re

import pytest

from emberbed import refusal_words, touch_words, trip_titles, words
from emberbed_fw import messages, safety_limits, trip_codes

# contracts.md, "Defaults at the bench": words that confuse there
INNER_WORDS = re.compile(r"\b(lease|plan|knot|digest|shadow)s?\b", re.IGNORECASE)


def all_sentences():
    for table in (touch_words.TOUCHES, touch_words.MARKS, touch_words.SOURCES,
                  refusal_words.SPECIAL_REFUSALS):  # fmt: skip
        yield from table.values()
    for code, _name, _reaction in trip_codes.TRIPS:
        for count in (1, safety_limits.GO_ON_TRIPS):
            yield trip_titles.clearing_words(code, count)


def test_every_table_has_exactly_the_firmware_s_names():
    assert set(touch_words.TOUCHES) == set(messages.TOUCH_NAMES.values())
    assert set(touch_words.MARKS) == set(messages.MARK_NAMES)
    assert set(touch_words.SOURCES) == set(messages.SOURCE_NAMES)
    asked = set(messages.TOUCH_NAMES.values()) | set(messages.MESSAGE_NAMES.values())
    for what, refusal in refusal_words.SPECIAL_REFUSALS:
        assert what in asked and refusal in messages.REFUSAL_NAMES


def test_no_inner_word_is_said():
    assert not [one for one in all_sentences() if INNER_WORDS.search(one)]


def test_a_special_refusal_is_one_sentence_with_its_mend():
    for sentence in refusal_words.SPECIAL_REFUSALS.values():
        assert sentence.endswith(".") and ". " not in sentence
        assert ";" in sentence or ":" in sentence, sentence


@pytest.mark.parametrize(
    ("request_type", "touch", "refusal", "says"),
    [
        (messages.ACK_PROMPT, 0, messages.WRONG_PROMPT, "That question is gone"),
        (messages.STAGE_REQUEST, messages.OFFSET, messages.ABOVE_LIMIT, "shown before the press"),
        (messages.STAGE_REQUEST, messages.MARK, messages.NO_RUN, "No run is on to set a mark in"),
        (messages.STAGE_REQUEST, messages.HOLD_HERE, messages.NO_RUN, "No run is on that could"),
        (messages.ARM, 0, messages.WRONG_STATE, "cannot do that in its present state"),
        (0, 0, messages.ABOVE_LIMIT, "beyond what was shown before the press"),
    ],
)
def test_a_refusal_says_what_was_wrong_with_just_that(request_type, touch, refusal, says):
    assert says in refusal_words.refusal_words(refusal, None, request_type, touch)


def test_every_trip_says_how_it_clears():
    for code, name, reaction in trip_codes.TRIPS:
        told = trip_titles.clearing_words(code, 1)
        if code in trip_titles.UNPLUG_TRIPS:
            assert told == "", name
        elif reaction == trip_codes.OFF:
            assert "the run can go on" in told, name
            assert "only cooling is left" in trip_titles.clearing_words(code, 3)
        else:
            assert "clears at the device below 50 °C" in told, name
            assert trip_titles.clearing_words(code, 3) == told


def test_what_the_bench_must_hear():
    """contracts.md: bead touches metal; the issue: take the hot air away."""
    happened, mend = words.trip_words(trip_codes.SENSOR_SHORT_GROUND, "edge")
    assert "touches metal" in happened and mend.startswith(
        "Insulate it with one layer of polyimide"
    )
    happened, mend = words.trip_words(trip_codes.TOO_HOT_FROM_ABOVE, "edge")
    assert "sensor edge" in happened and mend.startswith("Take the hot air away")


def test_codes_of_a_newer_device_are_told_too():
    for told in (touch_words.touch_words(77), touch_words.mark_words(77),
                 touch_words.source_words(77)):  # fmt: skip
        assert "does not know" in told


@pytest.mark.parametrize(
    ("offset_cdeg", "text"),
    [(0, "target as in the profile"), (500, "target 5 °C up"), (-50, "target 0.5 °C down")],
)
def test_the_target_s_offset(offset_cdeg, text):
    assert touch_words.offset_words(offset_cdeg) == text
