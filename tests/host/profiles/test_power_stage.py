"""Stages of fixed power: where they may stand, what the check says of them, what the plan holds."""

import pytest

from emberbed.profiles.check import check_profile, has_errors
from emberbed.profiles.compile import compile_plan, decode_plan
from emberbed.profiles.timing import peak_cdeg
from emberbed_fw import plan as layout
from emberbed_fw.units import FULL_POWER_Q15
from tests.host.profiles.profile_texts import (
    CEILINGS_CDEG,
    COOL,
    HEAD,
    HOLD,
    NAMES,
    POWER,
    RAMP,
    line_of,
    mistakes,
    read,
)

OFF = POWER.replace("percent = 50", "percent = 0").replace("limit_c = 110", "limit_c = 135")
STEPS = HEAD + POWER + OFF + COOL
NOTE = "fixed power is open loop"


def errors(text: str, **device) -> list[str]:
    found = check_profile(read(text), **device)
    return [one.sentence for one in found if one.severity == "error"]


def test_the_plan_is_open_loop_with_its_limit():
    plan = decode_plan(compile_plan(read(STEPS).model, NAMES, CEILINGS_CDEG))
    heat, off, cool = plan.stages
    assert [row["kind"] for row in plan.stages] == [layout.POWER, layout.POWER, layout.COOL]
    assert (heat["power_q15"], off["power_q15"]) == (FULL_POWER_Q15 // 2, 0)
    assert (heat["target_cdeg"], off["target_cdeg"], cool["target_cdeg"]) == (11000, 13500, 5000)
    # 360 s in ticks of 0.1 s; it neither waits nor asks, so it lasts no longer than that
    knots = [(knot["tick"], knot["setpoint_cdeg"]) for knot in plan.knots_of(0)]
    assert knots == [(0, 11000), (3600, 11000)]
    assert heat["longest_ticks"] == 3600
    # 25 degC beyond the limit: simulated emitters after full power, calculated (performance notes)
    assert plan.header["peak_cdeg"] == 13500 == plan.header["most_setpoint_cdeg"]
    assert plan.header["limit0_cdeg"] == 13500 + 2000


def test_stored_heat_counts_only_where_there_is_heat():
    assert peak_cdeg(read(HEAD + POWER + COOL).model) == 13500
    assert peak_cdeg(read(STEPS.replace("limit_c = 135", "limit_c = 140")).model) == 14000


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + RAMP + POWER + COOL, "there is a ramp too"),
        (HEAD + POWER + HOLD + COOL, "there is a hold too"),
        (HEAD + OFF + COOL, "every power stage has percent = 0, so nothing is heated"),
        (HEAD + POWER, "a profile ends with a cool"),
        (STEPS.replace("percent = 50", "percent = 101"), "percent = 101 is outside 0 to 100 %"),
        (STEPS.replace("percent = 50", "percent = -1"), "write 0 or more"),
        (STEPS.replace("percent = 50\n", ""), "the key percent is missing"),
        (STEPS.replace("limit_c = 110\n", ""), "the key limit_c is missing"),
        (STEPS.replace("for_s = 360\nlimit_c = 110", "limit_c = 110"), "the key for_s is missing"),
    ],
)
def test_a_mistake_is_one_sentence(text, said):
    (sentence,) = mistakes(text)
    assert said in sentence


@pytest.mark.parametrize(
    ("laminate", "alloy", "limit_c", "said"),
    [
        # Tg of the book's FR-4 150, solidus of its SAC305 (217 degC), less 25 degC of stored heat
        ("FR-4 Tg 150", "SAC305", 124.9, None),
        ("FR-4 Tg 150", "SAC305", 125, "glass transition of FR-4 Tg 150 is 150 °C"),
        # with care: Tg 130 degC, solidus 137 degC, the lowest of the tin solders in the book
        ("unknown", "SAC305", 105, "write less than 105 °C, or name the laminate"),
        ("FR-4 Tg 150", "unknown", 112, "write less than 112 °C, or name the solder"),
        ("FR-4 Tg 150", "unknown", 111.9, None),
    ],
)
def test_limit_and_stored_heat_stay_below_what_goes_soft(laminate, alloy, limit_c, said):
    text = HEAD.replace("FR-4 Tg 150", laminate).replace("SAC305", alloy) + POWER + COOL
    text = text.replace("limit_c = 110", f"limit_c = {limit_c:g}")
    told = errors(text)
    assert len(told) == (said is not None)
    for sentence in told:
        assert said in sentence and "25 °C further (simulated" in sentence
        assert sentence.startswith(f"p.toml:{line_of(text, 'limit_c')}: stage 1 (power): ")


def test_an_off_stage_may_not_let_the_board_get_too_hot_either():
    (sentence,) = errors(STEPS.replace("limit_c = 135", "limit_c = 150"))
    assert "stage 2 (power): the heat goes off at 150 °C, and" in sentence
    assert "write less than 150 °C" in sentence


def test_a_device_that_allows_less_refuses():
    low = [13000, *CEILINGS_CDEG[1:]]
    (sentence,) = errors(STEPS, channel_names=NAMES, ceilings_cdeg=low)
    assert "the device allows 130 °C" in sentence and "135 °C" in sentence


def test_it_is_told_what_open_loop_means():
    findings = check_profile(read(STEPS), NAMES, CEILINGS_CDEG, 1000)
    assert not has_errors(findings)
    (note,) = findings
    assert note.severity == "note" and NOTE in note.sentence and "135 °C" in note.sentence
    assert "12 min at most" in note.sentence, "360 s twice"


def test_more_than_the_heater_gives_is_a_warning():
    text = STEPS.replace("percent = 50", "percent = 61")
    (warning,) = [one for one in check_profile(read(text)) if one.severity == "warning"]
    assert "write 60 or less" in warning.sentence
    assert not any(one.severity == "warning" for one in check_profile(read(STEPS)))
