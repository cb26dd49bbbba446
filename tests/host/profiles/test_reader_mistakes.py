"""Each kind of mistake in a profile gets one sentence that names place and mend."""

import pytest

from tests.host.profiles.profile_texts import (
    AIR,
    COOL,
    GOOD,
    HEAD,
    HOLD,
    POWER,
    RAMP,
    SENSOR,
    WAIT,
    changed,
    line_of,
    mistakes,
)

# One row for each kind of mistake: what is put in place of what, and what the sentence must hold.
ONE_MISTAKE = [
    ("rate_c_per_s = 0.6", "rate_c_pers = 0.6", ["rate_c_pers", "did you mean", '"rate_c_per_s"']),
    ("to_c = 88", "to_c = 1200", ["stage 1 (ramp)", "1200 is outside 25 to 260", "J-STD-020"]),
    # 300 degF are 148.9 degC: (F - 32) / 1.8, the definition of the Fahrenheit scale
    ("to_c = 88", "to_c = 300", ["300 is outside 25 to 260 °C; if it is Fahrenheit, write 149"]),
    ("to_c = 88", "to_c = 260.001", ["to_c = 260.001 is outside", "write 127"]),
    ("to_c = 88", "to_c = 24", ["to_c = 24 is outside 25 to 260 °C; write 25 or more"]),
    ("below_c = 50", "below_c = 122", ["if it is Fahrenheit, write 50"]),
    ("below_c = 50", "below_c = 34", ["a warm room may never get colder", "35 or more"]),
    ("to_c = 88", "to_f = 190", ['"to_f" is not known', "in °C: write to_c = 88"]),
    ("for_s = 120", "for_s = 120\nband_f = 9", ["in °C: write band_c = 5"]),
    ("for_s = 120", "for_s = 120\nband_f = 'x'", ["in °C: write band_c"]),
    (
        "rate_c_per_s = 0.6",
        "rate_c_per_s = -0.6",
        ['rates have no sign: write 0.6; cooling is a stage of kind "cool"'],
    ),
    ("rate_c_per_s = 0.6", "rate_c_per_s = -60", ["0.01 to 3 °C/s; write 0.01 or more"]),
    ("fastest_c_per_s = 2", "fastest_c_per_s = -2", ["stage 5", "rates have no sign: write 2"]),
    # J-STD-020 table 5-2: ramp at most 3 degC/s
    ("rate_c_per_s = 0.6", "rate_c_per_s = 3.01", ["3.01", "J-STD-020", "3 or less"]),
    # J-STD-020 table 5-2: cooling at most 6 degC/s
    ("fastest_c_per_s = 2", "fastest_c_per_s = 6.1", ["stage 5 (cool)", "6 or less"]),
    ("for_s = 120", "for_s = nan", ["stage 2 (hold)", "for_s = nan", "plain number"]),
    ("for_s = 120", "for_s = inf", ["for_s = inf", "86400 or less"]),
    ("for_s = 120", 'for_s = "120"', ['for_s = "120" is text', "without the quotes: 120"]),
    ("for_s = 120", 'for_s = "3 min"', ["seconds as a plain number: 180, without the quotes"]),
    ("for_s = 120", 'for_s = "long"', ["write a number from 1 to 86400 s, without the quotes"]),
    ("for_s = 120", "for_s = true", ["for_s = true", "plain number"]),
    ("for_s = 120", "for_s = 2026-01-01", ["for_s = a date or time"]),
    ("for_s = 120", "for_s = [120]", ["for_s = a list"]),
    ("for_s = 120", "for_s = 0x" + "F" * 5000, ["more than 15 digits", "86400 or less"]),
    ('alloy = "SAC305"', 'alloy = "SAC350"', ["SAC350", "did you mean", "SAC305"]),
    ('alloy = "SAC305"', "alloy = 305", ["alloy = 305", "the name of an alloy"]),
    ('laminate = "FR-4 Tg 150"', 'laminate = "FR4 Tg 150"', ['did you mean "FR-4 Tg 150"']),
    ('laminate = "FR-4 Tg 150"', 'laminate = "blue"', ['not known? write "unknown"']),
    ('edge = "edge"', 'edge = "edgy"', ["sensors: edge", '"edgy"', 'did you mean "edge"']),
    ('edge = "edge"', "edge = 3", ["edge = 3 is no role", "control, edge, chip_top"]),
    ('edge = "edge"', '"my edge" = "edge"', ['"my edge" is no sensor name']),
    ('edge = "edge"', 'edge = "control"', ["only one sensor", "top_near_chip"]),
    ('top_near_chip = "control"\n', "", ['no sensor has the role "control"']),
    ("mass_g = 240", "mass_kg = 240, mass_g = 240", ["board:", "mass_kg", 'did you mean "mass_g"']),
    ("mass_g = 240", "mass_g = 0", ["board:", "mass_g = 0", "1 or more"]),
    ("width_mm = 120 }", "width_mm = 120, depth_mm = 2 }", ["depth_mm"]),
    ('prompt = "Apply flux"', "prompt = '   '", ["stage 3 (wait)", "visible characters"]),
    ('prompt = "Apply flux"', 'prompt = "Apply\\u001b[2J"', ['prompt = "Apply[2J"']),
    ('name = "Bench label printer"', f'name = "{"x" * 81}"', ["1 to 80 visible characters"]),
    ('kind = "hold"', 'kind = "hould"', ["stage 2 (hould)", 'did you mean "hold"']),
    ('kind = "hold"', "kind = 7", ["stage 2", "the kind 7", "ramp, hold, wait, hot_air, cool"]),
    ('kind = "hold"\n', "", ["stage 2", "the key kind is missing"]),
    (HOLD, POWER, ["stage 2 (power)", "identifying a heater", "there is a ramp too"]),
    ('kind = "hold"', 'kind = "hot air"', ["stage 2 (hot air)", 'did you mean "hot_air"']),
    (COOL, "", ["stage 4 (ramp)", "ends with a cool"]),
    (HOLD, COOL, ["stage 2 (cool)", "only the last stage"]),
    (HEAD, "surplus = 1\n" + HEAD, ["surplus", "the keys here are name, alloy"]),
    ("for_s = 120\n", "", ["stage 2 (hold)", "for_s is missing", "from 1 to 86400 s"]),
]
ONE_MISTAKE += [
    # holds
    (
        "for_s = 120",
        'for_s = 120\nneeds = ["edgy"]',
        ['names no sensor of this profile with "edgy"'],
    ),
    ("for_s = 120", 'for_s = 120\nneeds = "edge"', ["needs =", 'such as ["edge"]']),
    ("for_s = 120", "for_s = 120\nneeds = [3]", ["needs holds 3, which is no name"]),
    ("for_s = 120", "for_s = 120\nneeds = [{}]", ["needs holds a table, which is no name"]),
    ("for_s = 120", "for_s = 120\nspread_c = 51", ["0 to 50 °C", "50 or less"]),
    ("for_s = 120", "for_s = 120\nspread_c = -1", ["0 asks for no evenness", "0 or more"]),
    # waits
    ("longest_s = 300", 'longest_s = 300\nmarks = ["flux"]', ["marks", 'did you mean "flux_on"']),
    (
        "longest_s = 300",
        'longest_s = 300\nmarks = ["next"]',
        ["does not know", "flux_on, no"],
    ),
    ("longest_s = 300", "longest_s = 300\nmarks = [1]", ["marks does not know 1; write one of"]),
    ("longest_s = 300", 'longest_s = 300\nmarks = "note"', ["at most 4 events", '["flux_on"]']),
    (
        "longest_s = 300",
        f"longest_s = 300\nmarks = {['note'] * 5}",
        ["marks holds 5 events and at most 4 fit"],
    ),
    # cooling
    ("below_c = 50", 'below_c = 50\nfan = "press"', ["fan does not know", 'mean "on_press"']),
    ("below_c = 50", "below_c = 50\nfan = true", ["fan = true", "when_solid, on_press, never"]),
    # the whole
    ("[sensors]", "ceiling_c = 300\n[sensors]", ["ceiling_c = 300", "Fahrenheit, write 149"]),
    ("[sensors]", 'ceiling_c = "x"\n[sensors]', ["ceiling_c", "25 to 260 °C, without"]),
    ("mass_g = 240, ", "", ["board: the key mass_g is missing"]),
    # sensors
    (SENSOR, 'edge = { role = "edgy" }', ["sensors: edge: role does not", 'did you mean "edge"']),
    (SENSOR, "edge = { role = 3 }", ["sensors: edge: role = 3", "control, edge"]),
    (SENSOR, "edge = {}", ["sensors: edge: the key role is missing", "control, edge"]),
    (SENSOR, 'edge = { role = "edge", side = "under" }', ["side does not", '"underside"']),
    (SENSOR, 'edge = { role = "edge", in_jet = 1 }', ["in_jet = 1", "true or false"]),
    (SENSOR, 'edge = { role = "edge", shielded = "x" }', ["shielded", "true or false"]),
    (SENSOR, 'edge = { role = "edge", place = "x" }', ['"place" is not known', "role, limit_c"]),
    (SENSOR, 'edge = { role = "edge", limit_c = 300 }', ["40 to 260", "Fahrenheit, write 149"]),
    (SENSOR, 'edge = { role = "edge", limit_c = 39 }', ["limit_c = 39", "40 or more"]),
    (SENSOR, 'edge = { role = "edge", limit_f = 185 }', ["in °C: write limit_c = 85"]),
    (SENSOR, 'edge = { role = "edge", pause_c = 80 }', ["has no pause_c", "neighbour"]),
    (SENSOR, 'edge = { role = "edge", partner = "top_near_chip" }', ["has no partner", "pair"]),
    (SENSOR, 'coin_cell = "neighbour"', ["coin_cell is a neighbour", "limit_c = 85 }"]),
    (SENSOR, 'beside = "pair"', ["beside is a pair", 'partner = "top_near_chip" }']),
    (SENSOR, 'beside = { role = "pair", partner = "beside" }', ["partner names no", "top_near"]),
    (SENSOR, 'beside = { role = "pair", partner = 3 }', ["beside: partner = 3", "another sensor"]),
    (
        SENSOR,
        'cell = { role = "neighbour", limit_c = 85, pause_c = 85 }',
        ["sensors: cell: pause_c = 85 is not below limit_c = 85", "write 77"],
    ),
    # hot air
    (WAIT, AIR + 'expects = "chip"\n', ["stage 3 (hot_air): expects does not", '"chip_on"']),
    (WAIT, AIR + "expects = 1\n", ["expects = 1", "chip_off, chip_on, nothing"]),
    (WAIT, AIR + "tool_w = -1\n", ["tool_w = -1 is outside 0 to 3600 W"]),
    (WAIT, AIR + 'tool_w = "700 W"\n', ["watts as a plain number: 700, without the quotes"]),
    (WAIT, AIR + "start_within_s = 0\n", ["start_within_s = 0", "1 or more"]),
    (WAIT, AIR + "for_s = 9\n", ['"for_s" is not known', "prompt, expects"]),
    (WAIT, AIR + 'prompt = ""\n', ["stage 3 (hot_air)", "visible characters"]),
]


@pytest.mark.parametrize(("old", "new", "parts"), ONE_MISTAKE)
def test_one_mistake_gets_one_sentence(old, new, parts):
    told = mistakes(changed(old, new))
    assert len(told) == 1, told
    assert told[0].startswith("p.toml:")
    for part in parts:
        assert part in told[0]


@pytest.mark.parametrize("text", [HEAD + first + RAMP + COOL for first in (HOLD, WAIT, AIR)])
def test_nothing_is_held_before_a_ramp(text):
    (told,) = mistakes(text)
    assert "stage 1" in told and "put a ramp first" in told


@pytest.mark.parametrize(
    ("stages", "part"), [("stages = []\n", "no stage"), ("stages = 3\n", "stages = 3")]
)
def test_without_stages(stages, part):
    (told,) = mistakes(stages + HEAD)
    assert part in told


def test_a_stage_that_is_no_table():
    (told,) = mistakes("stages = [3, { kind = 'ramp', to_c = 50, rate_c_per_s = 1 }]\n" + HEAD)[:1]
    assert "p.toml:1: stage 1: 3 is no stage" in told


def test_only_cooling_heats_nothing():
    (told,) = mistakes(HEAD + COOL)
    assert "no ramp" in told


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file():
    text = GOOD
    wrong = {
        'alloy = "SAC305"': 'alloy = "SAC999"',
        'edge = "edge"': 'edge = "edgy"',
        "rate_c_per_s = 0.6": "rate_c_per_s = -1",
        "for_s = 120": "for_s = nan",
        'prompt = "Apply flux"': "promt = 1",
        "fastest_c_per_s = 2": "fastest_c_per_s = 2\nspeed = 1",
    }
    for old, new in wrong.items():
        text = text.replace(old, new, 1)
    told = mistakes(text)
    lines = [int(sentence.split(":")[1]) for sentence in told]
    assert lines == sorted(lines)
    for new in wrong.values():
        assert line_of(text, new.splitlines()[-1]) in lines
    assert len(told) == len(wrong)  # the misspelt prompt is not told as missing too


def test_nothing_of_the_validating_library_shows():
    text = GOOD.replace("for_s = 120", "for_s = 'x'").replace("to_c = 88", "to_c = 1e9")
    shown = "\n".join(mistakes(text))
    for word in ("pydantic", "http", "Input should", "type=", "Traceback", "validation"):
        assert word not in shown


def test_an_empty_file_is_told_what_is_missing_once():
    told = mistakes("")
    assert [sentence.split(" is missing")[0] for sentence in told] == [
        f"p.toml: the key {key}" for key in ("name", "alloy", "laminate", "sensors", "stages")
    ]
