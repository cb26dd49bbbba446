"""Warnings accepted with a reason: for one revision, told each time, never an error's way out."""

import pytest

from emberbed.profiles.acceptance import CannotAccept, fingerprint, with_acceptance
from emberbed.profiles.check import check_profile
from tests.host.profiles.profile_texts import GOOD, changed, read

FAST = changed("rate_c_per_s = 0.4", "rate_c_per_s = 1.5")
WHY = 'Scrap board "B", its parts are off'


def accepted(text, reason=WHY):
    file = read(text)
    found = next(one for one in check_profile(file) if one.severity == "warning")
    return with_acceptance(file.source, text, found.name, reason)


def test_an_accepted_warning_is_a_note_with_its_reason():
    found = check_profile(read(accepted(FAST)))
    assert {one.severity for one in found} == {"note"}
    (told,) = [one for one in found if one.reason]
    assert told.reason == WHY and told.sentence.endswith(f"(accepted: {WHY})")
    assert told.name == "rates at stage 4 rate_c_per_s"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("to_c = 140", "to_c = 139"),
        ("Apply flux", "Apply flux now"),
        ("mass_g = 240", "mass_g = 241"),
    ],
)
def test_it_counts_until_anything_else_is_changed(old, new):
    found = check_profile(read(accepted(FAST).replace(old, new)))
    assert [one.severity for one in found].count("warning") == 1
    assert any("for another revision" in one.sentence for one in found)


def test_comments_and_layout_are_no_revision():
    text = accepted(FAST).replace("to_c = 140", "to_c   =   140   # a comment")
    assert all(one.severity == "note" for one in check_profile(read(text)))


def test_several_are_accepted_one_by_one():
    text = FAST.replace("below_c = 50", "below_c = 60")
    twice = accepted(accepted(text), "Both looked at")
    assert [one.reason for one in check_profile(read(twice)) if one.reason] == [
        WHY,
        "Both looked at",
    ]


def test_an_error_is_not_accepted():
    text = changed("for_s = 120", "for_s = 120\nlongest_s = 119")
    file = read(text)
    (error,) = [one for one in check_profile(file) if one.severity == "error"]
    forced = with_acceptance(file.source, text, error.name, "no")
    assert [one.severity for one in check_profile(read(forced))][0] == "error"


@pytest.mark.parametrize("reason", ["", "  ", "x" * 201, "a\nb", "a\x1b[2J"])
def test_a_reason_must_be_one(reason):
    with pytest.raises(CannotAccept, match="the reason has 1 to 200 visible characters"):
        accepted(FAST, reason)


def test_the_fingerprint_is_of_the_data_alone():
    data = read(GOOD).source.data
    assert fingerprint(data) == fingerprint({**data, "accepted": [1]})
    assert fingerprint(data) != fingerprint({**data, "name": "x"})
