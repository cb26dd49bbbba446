"""Reading profiles: what is right is read, what is wrong is told whole, each in one sentence."""

import re
import time
from importlib.resources import files

import pytest

from emberbed.profiles.model import Profile, Wait
from emberbed.profiles.reader import ProfileMistakes, read_profile
from tests.host.profiles.profile_texts import (
    AIR,
    COOL,
    GOOD,
    HEAD,
    HOLD,
    POWER,
    RAMP,
    WAIT,
    changed,
    line_of,
    mistakes,
    read,
)

DOCUMENT = files("emberbed") / "docs" / "profiles.md"


def refused_file(path) -> list[str]:
    with pytest.raises(ProfileMistakes) as refused:
        read_profile(path)
    return refused.value.sentences


def test_a_right_profile_is_read_whole():
    profile = read(GOOD).model
    assert profile.name == "Bench label printer"
    assert profile.control_sensor() == "top_near_chip"
    assert [stage.kind for stage in profile.stages] == ["ramp", "hold", "wait", "ramp", "cool"]
    assert isinstance(profile.stages[2], Wait)
    assert profile.board is not None and profile.board.mass_g == 240
    assert profile.sensors["edge"].role == "edge"


def test_a_mark_in_front_of_utf8_and_windows_line_ends_are_taken():
    text = GOOD.replace("\n", "\r\n")
    assert read("\ufeff" + text).model == read(GOOD).model


def test_what_is_left_out_gets_its_default():
    """Contracts: a hold's band is 5 degC, hot air blows 4 min at most, the fan waits for solder."""
    ramp, hold, wait, air, *_, cool = read(GOOD.replace(WAIT, WAIT + AIR)).model.stages
    assert (ramp.band_c, ramp.hold_back_c, ramp.spread_c, ramp.longest_s) == (3, 8, 10, None)
    assert (hold.band_c, hold.needs, hold.spread_c) == (5, [], 0)
    assert (wait.remind_s, wait.marks) == (30, None)
    assert (air.longest_s, air.start_within_s, air.remind_s, air.tool_w) == (240, 600, 30, 0)
    assert (air.expects, air.prompt) == ("nothing", "Bring the hot air over the chip, then answer")
    assert cool.fan == "when_solid"


def test_a_role_alone_is_short_for_a_table():
    assert read(changed('"edge"', '{ role = "edge" }')).model == read(GOOD).model
    written = """
[sensors.cell]
role = "neighbour"
limit_c = 85
pause_c = 75
[sensors.beside]
role = "pair"
partner = "top_near_chip"
in_jet = true
side = "underside"
shielded = true
"""
    sensors = read(changed(SENSOR + "\n", SENSOR + written)).model.sensors
    assert (sensors["cell"].limit_c, sensors["cell"].pause_c) == (85, 75)
    assert sensors["beside"].partner == "top_near_chip"
    assert sensors["beside"].in_jet and sensors["beside"].shielded
    assert (sensors["beside"].side, sensors["cell"].side) == ("underside", None)


def test_the_sensors_of_the_documents_are_read():
    (example,) = re.findall(
        r"```toml\n\[sensors\]\n(.*?)```", DOCUMENT.read_text("utf-8"), re.DOTALL
    )
    sensors = read(changed('top_near_chip = "control"\nedge = "edge"\n', example)).model.sensors
    assert {one.role for one in sensors.values()} == {"control", "edge", "neighbour", "pair"}


def test_a_board_that_nobody_knows_may_be_left_out():
    profile = read(changed("board = { mass_g = 240, length_mm = 180, width_mm = 120 }\n", "")).model
    assert profile.board is None
    unknown = changed('"SAC305"', '"unknown"').replace('"FR-4 Tg 150"', '"unknown"')
    assert (read(unknown).model.alloy, read(unknown).model.laminate) == ("unknown", "unknown")


def test_a_file_is_read_and_remembers_its_path_and_text(tmp_path):
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, encoding="utf-8", newline="\n")
    found = read_profile(path)
    assert (found.path, found.text) == (str(path), GOOD)


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

SENSOR = 'edge = "edge"'
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


@pytest.mark.parametrize("header", ["[[stages]]\n", "[[ stages ]]\nkind = 'ramp'\nto_c = 5\n"])
def test_ten_thousand_stages_are_one_short_sentence(header):
    began = time.perf_counter()
    told = mistakes(HEAD + header * 10_000)
    assert time.perf_counter() - began < 2
    assert len(told) == 1
    assert "10000 stages" in told[0] and "64 stages" in told[0]


def test_ten_thousand_stages_in_a_small_file():
    (told,) = mistakes("stages = [" + "{}," * 10_000 + "]\n" + HEAD)
    assert "10000 stages" in told and "at most 64" in told


def test_thousands_of_mistakes_are_counted_not_told():
    text = HEAD + RAMP + "".join(f"k{n} = 1\n" for n in range(3000)) + COOL
    told = mistakes(text)
    assert len(told) == 51
    assert told[-1] == "p.toml: 2950 more mistakes follow; mend these first"


NOT_TOML = [
    (GOOD.replace("to_c = 88", "to_c 88"), line_of(GOOD, "to_c = 88"), "this line cannot be read"),
    (GOOD + "x = [1,", GOOD.count("\n") + 1, "inside a bracket that was opened before; close it"),
    ("\x00\x01\x02", 1, "this line cannot be read from column 1 on"),
]


@pytest.mark.parametrize(("text", "line", "part"), NOT_TOML)
def test_what_is_not_toml_gets_its_line(text, line, part):
    (told,) = mistakes(text)
    assert told.startswith(f"p.toml:{line}: ") and part in told


def test_bytes_that_are_no_text_get_their_line():
    raw = GOOD.encode().replace(b"Apply flux", b"Apply \xff flux")
    (told,) = mistakes(raw)
    assert told == f"p.toml:{line_of(GOOD, 'prompt')}: the file is not UTF-8 text; save it as UTF-8"


@pytest.mark.parametrize("text", ["a = " + "[" * 30_000, "a = " + "9" * 5000])
def test_hostile_toml_is_refused_in_one_sentence(text):
    assert len(mistakes(text)) == 1


def test_a_file_over_64_kib_is_refused(tmp_path):
    path = tmp_path / "big.toml"
    path.write_text(GOOD + "#" * 64 * 1024, encoding="utf-8")
    (told,) = refused_file(path)
    assert "64 KiB" in told


def test_no_file_offers_the_shipped_ones(tmp_path):
    assert "did you mean the shipped profile label-printer?" in refused_file("lable-printer")[0]
    (told,) = refused_file(tmp_path / "nothing")
    assert "no such file" in told and "place-chip, remove-chip, weather-logger" in told


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, "", "a\x1b[2Jb"])
def test_impossible_names_are_refused(name):
    (told,) = refused_file(name)
    assert "\x1b" not in told and "\0" not in told


def test_a_folder_is_refused(tmp_path):
    (told,) = refused_file(tmp_path)
    assert "this is a folder" in told


def test_a_shipped_profile_by_name_and_a_file_before_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert read_profile("label-printer").model.alloy == "SAC305"
    (tmp_path / "label-printer").mkdir()  # a folder of that name hides nothing
    assert read_profile("label-printer").model.name.startswith("Label printer")
    (tmp_path / "label-printer").rmdir()
    (tmp_path / "label-printer").write_text(GOOD, encoding="utf-8")
    assert read_profile("label-printer").model.name == "Bench label printer"


def test_a_profile_made_in_code_obeys_the_same_rules():
    data = read(GOOD).model.model_dump()
    assert Profile.model_validate(data) == read(GOOD).model
    with pytest.raises(ValueError, match="ends with a cool"):
        Profile.model_validate({**data, "stages": data["stages"][:-1]})
