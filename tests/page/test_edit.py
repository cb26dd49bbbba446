"""The editor's half on this side: newer keys of a profile, and warnings accepted with a reason."""

import tomllib

import pytest

from emberbed.page import edit
from emberbed.profiles.check import check_profile
from emberbed.profiles.reader import parse_profile
from emberbed.profiles.shipped import shipped_file

SHOWN = "one.toml"


@pytest.fixture
def text():
    return shipped_file("label-printer").read_text(encoding="utf-8")


@pytest.fixture
def warned():
    """The profile that comes with an accepted warning, changed: so it warns again."""
    text = shipped_file("weather-logger").read_text(encoding="utf-8")
    changed = edit.edited(text, SHOWN, {"do": "set", "place": ["name"], "value": "Another"})
    assert warnings(changed)
    return changed


def put(text, place, value):
    return edit.edited(text, SHOWN, {"do": "set", "place": place, "value": value})


def warnings(answer):
    return [one for one in answer["check"]["findings"] if one["severity"] == "warning"]


def accept(answer, name, reason):
    return edit.edited(answer["text"], SHOWN, {"do": "accept", "name": name, "reason": reason})


def test_flux_standard_chip_and_part_are_written_and_shown_again(text):
    for place, value in (
        (["flux"], "rosin"),
        (["standard"], "J-STD-020C"),
        (["chip", "length_mm"], "12,5"),
        (["chip", "width_mm"], "12.5"),
        (["chip", "thickness_mm"], "1.2"),
        (["sensors", "edge", "role"], "neighbour"),
        (["sensors", "edge", "part"], "coin cell"),
    ):
        answer = put(text, place, value)
        text = answer["text"]
    choices = answer["form"]["choices"]
    data = tomllib.loads(text)
    assert data["chip"] == {"length_mm": 12.5, "width_mm": 12.5, "thickness_mm": 1.2}
    assert data["sensors"]["edge"]["part"] == "coin cell"
    assert answer["form"]["head"]["standard"] == "J-STD-020C"
    assert answer["form"]["sensors"]["edge"] == {
        "role": "neighbour",
        "limit_c": "",
        "part": "coin cell",
    }
    assert "unknown" in choices["flux"] and choices["part"]


def test_a_role_changes_alone_and_the_rest_of_its_sensor_stays(text):
    text = text.replace('edge = "edge"', 'edge = { role = "edge", limit_c = 150 }')
    assert "limit_c = 150" in text
    after = tomllib.loads(put(text, ["sensors", "edge", "role"], "neighbour")["text"])
    assert after["sensors"]["edge"] == {"role": "neighbour", "limit_c": 150}


def test_a_chip_that_loses_its_last_value_is_gone(text):
    with_one = put(text, ["chip", "length_mm"], "10")["text"]
    assert "chip" in tomllib.loads(with_one)
    assert "chip" not in tomllib.loads(put(with_one, ["chip", "length_mm"], "")["text"])


def test_an_accepted_warning_counts_for_the_command_too(warned):
    found = warnings(warned)[0]
    after = accept(warned, found["name"], "the tin was weighed on another scale")
    assert len(warnings(after)) == len(warnings(warned)) - 1
    again = check_profile(parse_profile(after["text"].encode(), SHOWN))
    assert "the tin was weighed on another scale" in [one.reason for one in again]


@pytest.mark.parametrize("reason", ["", "   ", "x" * 201, "hid\u200bden"])
def test_a_reason_that_is_none_is_told_and_nothing_changes(warned, reason):
    after = accept(warned, warnings(warned)[0]["name"], reason)
    assert after["text"] == warned["text"]
    assert "the reason has 1 to 200 visible characters" in after["sentences"][0]


def test_a_warning_that_is_not_there_is_told(warned):
    after = accept(warned, "no such rule", "because")
    assert (after["text"], after["sentences"]) == (warned["text"], [edit.NO_SUCH_WARNING])


def test_nothing_is_accepted_while_the_text_has_mistakes(warned):
    broken = put(warned["text"], ["stages", 0, "to_c"], "6000")
    after = accept(broken, warnings(warned)[0]["name"], "because")
    assert (after["text"], after["sentences"]) == (broken["text"], [edit.NOT_YET])
