"""Rules of the check about hot air: each acts beyond its limit and stays quiet inside it."""

import pytest

from tests.host.profiles.profile_texts import AIR, RAMP, SOAK_HOLD, WAIT, WITH_AIR
from tests.host.profiles.test_check import found, only

TOOL = AIR + "tool_w = 700\n"


def with_air(old: str, new: str) -> str:
    assert old in WITH_AIR
    return WITH_AIR.replace(old, new, 1)


def test_a_right_profile_with_hot_air_has_nothing():
    assert found(WITH_AIR) == []


@pytest.mark.parametrize(
    ("before", "told"),
    [
        (SOAK_HOLD, False),
        ("", True),
        (SOAK_HOLD.replace("90", "59"), True),
        (SOAK_HOLD.replace("90", "30") * 2, False),
        (WAIT.replace("Apply flux", "Fit the nozzle"), False),
        (SOAK_HOLD + RAMP.replace("to_c = 88", "to_c = 120"), True),
    ],
)
def test_the_heater_must_have_learned_what_keeps_the_temperature(before, told):
    """The firmware takes the mean of the power over about a minute of a hold or wait."""
    findings = [one for one in found(with_air(SOAK_HOLD, before)) if one.name != "to_peak"]
    assert [finding.severity for finding in findings] == ["warning"] * told
    for finding in findings:
        assert "has learned what power keeps" in finding.sentence and finding.stage is not None
        assert "put a hold of 60 s or more before it" in finding.sentence


def test_hot_air_blows_four_minutes_at_most():
    # 4 min: common practice, no source
    finding = only(with_air(AIR, AIR + "longest_s = 241\n"))
    assert finding.severity == "warning" and "write 240 or less" in finding.sentence
    assert found(with_air(AIR, AIR + "longest_s = 240\n")) == []


def test_nobody_brings_it_for_long():
    # longest wait 20 min: common practice, no source
    finding = only(with_air(AIR, AIR + "start_within_s = 1201\n"))
    assert finding.severity == "warning" and "20 min" in finding.sentence
    assert found(with_air(AIR, AIR + "start_within_s = 1200\n")) == []


def test_the_tool_and_the_heater_must_fit_the_socket():
    """By hand: 2300 W (10 A at 230 V) less 700 W are 1600 W; 60 % of 3000 W are 1800 W."""
    text = with_air(AIR, TOOL)
    tight = only(text, heater_watts=3000, socket_watts=2300)
    assert tight.severity == "warning"
    assert "leaves 1600 W of the socket's 2300 W" in tight.sentence
    assert "may take 1800 W" in tight.sentence and "53% of its power" in tight.sentence
    assert tight.stage == 6
    assert found(text, heater_watts=3000, socket_watts=2500) == []
    assert found(text, heater_watts=1000, socket_watts=1300) == []


@pytest.mark.parametrize("socket_watts", [700, 500])
def test_a_tool_that_leaves_nothing_is_refused(socket_watts):
    finding = only(with_air(AIR, TOOL), heater_watts=1000, socket_watts=socket_watts)
    assert finding.severity == "error" and "leaves the heater nothing" in finding.sentence


def test_a_socket_that_is_not_known_is_said():
    finding = only(with_air(AIR, TOOL), heater_watts=1000)
    assert finding.severity == "note" and "does not know what its socket gives" in finding.sentence
    assert found(with_air(AIR, TOOL)) == []  # no device, nothing to hold it against
    assert found(WITH_AIR, heater_watts=1000, socket_watts=500) == []  # no tool on it
