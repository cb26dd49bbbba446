"""A plain hold without a file: the text it stands for, its checks, its time as people write it."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.profiles.check import check_profile, has_errors
from emberbed.profiles.compile import compile_plan, decode_plan
from emberbed.profiles.plain_hold import hold_profile, parse_duration
from emberbed.profiles.reader import ProfileMistakes, parse_profile
from emberbed.records import decode_record
from emberbed_fw import run_states as rs
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters
from tests.host.profiles.profile_texts import CEILINGS_CDEG, NAMES


def refused(*given_) -> str:
    with pytest.raises(ProfileMistakes) as told:
        hold_profile(*given_)
    (sentence,) = told.value.sentences
    return sentence


def test_it_is_a_profile_like_any_other():
    held = hold_profile(120, 1800, NAMES)
    assert parse_profile(held.text.encode(), "again").model == held.model
    data = tomllib.loads(held.text)
    assert data["name"] == "Hold 120 °C for 30 min" == held.model.name
    assert [stage["kind"] for stage in data["stages"]] == ["ramp", "hold", "cool"]
    assert (data["stages"][0]["to_c"], data["stages"][1]["for_s"]) == (120, 1800)
    # contracts: a hold's band is 5 degC
    plan = decode_plan(compile_plan(held.model, NAMES, CEILINGS_CDEG))
    assert (plan.stages[1]["target_cdeg"], plan.stages[1]["band_cdeg"]) == (12000, 500)
    assert plan.knots_of(1)[-1]["tick"] == 18000


def test_the_first_channel_controls_unless_roles_are_given():
    """As the device's own hold does it."""
    roles = {name: one.role for name, one in hold_profile(120, 60, NAMES).model.sensors.items()}
    assert roles == {"top_near_chip": "control", "edge": "edge"}
    given_roles = {"rod": "emitter", "centre": "control"}
    sensors = hold_profile(120, 60, given_roles).model.sensors
    assert {name: one.role for name, one in sensors.items()} == given_roles


def test_materials_are_unknown_unless_told():
    held = hold_profile(120, 60, NAMES)
    assert (held.model.alloy, held.model.laminate) == ("unknown", "unknown")
    told = hold_profile(120, 60, NAMES, "SAC305", "FR-4 Tg 170")
    assert (told.model.alloy, told.model.laminate) == ("SAC305", "FR-4 Tg 170")


def test_the_same_checks_judge_it():
    # IPC-4101 /21: standard laminate is soft from 130 degC on
    findings = check_profile(hold_profile(131, 60, NAMES))
    assert findings[0].severity == "warning" and "glass transition" in findings[0].sentence
    assert not has_errors(check_profile(hold_profile(120, 1800, NAMES), NAMES, CEILINGS_CDEG))
    assert not has_errors(
        check_profile(hold_profile(131, 60, NAMES, "SAC305", "FR-4 Tg 150"), NAMES, CEILINGS_CDEG)
    )
    low = check_profile(hold_profile(120, 60, NAMES), NAMES, [10000] * 8)
    assert "allows 100 °C at top_near_chip" in low[0].sentence


@pytest.mark.parametrize(
    ("given_", "parts"),
    [
        ((300, 60, ["a"]), ["Hold 300 °C for 1 min:", "if it is Fahrenheit, write 149"]),
        ((float("nan"), 60, ["a"]), ["to_c = nan"]),
        ((float("inf"), 60, ["a"]), ["to_c = inf"]),
        ((39, 60, ["a"]), ["Hold 39 °C for 1 min: ", "hold 40 °C or more"]),
        ((-5, 60, ["a"]), ["40 °C or more"]),
        ((120, 90000, ["a"]), ["Hold 120 °C for 25 h:", "at most a day"]),
        ((120, 0, ["a"]), ["for_s = 0"]),
        ((120, 60, []), ['no sensor has the role "control"']),
        ((120, 60, ["my edge"]), ['"my edge" is no sensor name']),
        ((120, 60, {"a": "contrl"}), ['a = "contrl" is no role; did you mean "control"?']),
        ((120, 60, ["a"], "sac305"), ['did you mean "SAC305"']),
        ((120, 60, ["a"], "unknown", '\x1b"\\'), ['laminate ""\\" is not in', "unknown"]),
    ],
)
def test_a_mistake_is_one_sentence(given_, parts):
    sentence = refused(*given_)
    assert "\x1b" not in sentence
    for part in parts:
        assert part in sentence


@settings(max_examples=100, deadline=None)
@given(
    st.floats(allow_nan=True),
    st.floats(allow_nan=True),
    st.lists(st.text(max_size=5), max_size=3),
    st.text(max_size=8),
)
def test_nothing_else_is_raised(temperature_c, for_s, names, alloy):
    try:
        held = hold_profile(temperature_c, for_s, names, alloy)
    except ProfileMistakes as mistakes:
        assert all("\n" not in sentence for sentence in mistakes.sentences)
    else:
        assert 40 <= held.model.stages[0].to_c <= 260


@pytest.mark.parametrize("temperature_c", [40, 60, 120])
def test_it_ends_well_on_the_simulated_heater(temperature_c):
    """2 degC of overshoot: the aim of the project for its shipped heater, no outside source."""
    held = hold_profile(temperature_c, 300, NAMES, "SAC305", "FR-4 Tg 150")
    bench = BenchParameters()
    plan = compile_plan(held.model, NAMES, [26000] * 8)
    loop = ClosedLoop(bench_settings(bench), plan, SimulatedHeater(bench, 1, ()))
    records = [decode_record(raw) for raw in loop.run()]
    assert records[-1].state == rs.FINISHED
    held_cdeg = [record.channel_cdeg(0) for record in records if record.stage == 1]
    assert len(held_cdeg) >= 3000
    assert max(held_cdeg) <= temperature_c * 100 + 200


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ("30min", 1800),
        ("90s", 90),
        ("2h", 7200),
        ("1h30min", 5400),
        (" 1 h 30 min ", 5400),
        ("1.5h", 5400),
        ("1,5 h", 5400),
        ("5 minutes", 300),
        ("24H", 86400),
    ],
)
def test_a_time_is_read_as_people_write_it(written, seconds):
    assert parse_duration(written) == seconds


@pytest.mark.parametrize(
    ("written", "part"),
    [
        ("30", 'the time "30" has no unit; write it such as 30min'),
        ("", "cannot be read"),
        ("soon", "cannot be read"),
        ("-5min", "cannot be read"),
        ("30min!", "cannot be read"),
        ("30m", "has the unit m;"),
        ("5 parsec", "has the unit parsec;"),
        ("0.5s", "is outside 1 s to 24 h"),
        ("25h", "is outside 1 s to 24 h"),
        ("9999999h", "is outside"),
        ("\x1b[2J", "cannot be read"),
    ],
)
def test_a_time_that_is_none_gets_one_sentence(written, part):
    with pytest.raises(ValueError) as told:
        parse_duration(written)
    sentence = str(told.value)
    assert part in sentence and "30min, 90s or 1h30min" in sentence
    assert "\n" not in sentence and "\x1b" not in sentence


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="0123456789.,hmins \x1b", max_size=12))
def test_any_text_is_a_time_or_a_sentence(written):
    try:
        assert 1 <= parse_duration(written) <= 86400
    except ValueError as told:
        assert str(told).startswith("the time ")
