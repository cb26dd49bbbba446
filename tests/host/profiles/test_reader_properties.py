"""Properties of the reader: it raises nothing but its own refusal, and its lines are right."""

import re
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.profiles.model import STAGE_MODELS, Accepted, Board, Chip, Profile, Sensor
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile, read_profile
from emberbed.profiles.shipped import shipped_names
from emberbed.profiles.toml_lines import TomlLines
from tests.host.profiles.profile_texts import FULL, POWER, mistakes, read

SLOW = settings(max_examples=150, deadline=None)


def outcome(raw: bytes) -> ProfileFile | list[str]:
    """Read `raw`; a refusal must consist of clean single lines that begin with the file."""
    try:
        return parse_profile(raw, "p.toml")
    except ProfileMistakes as refused:
        assert refused.sentences
        for sentence in refused.sentences:
            assert sentence.startswith("p.toml:")
            assert "compare it with a shipped one" not in sentence  # the last resort of wording
            assert not any(unicodedata.category(letter) in ("Cc", "Cf") for letter in sentence)
            assert len(sentence) < 500
        return refused.sentences


@SLOW
@given(st.binary(max_size=300))
def test_any_bytes(raw):
    outcome(raw)


@SLOW
@given(st.integers(0, len(FULL)), st.integers(0, 40), st.binary(max_size=20))
def test_a_good_file_with_a_piece_replaced(start, length, piece):
    raw = FULL.encode()
    outcome(raw[:start] + piece + raw[start + length :])


@SLOW
@given(st.lists(st.sampled_from(FULL.splitlines()), max_size=30))
def test_lines_of_a_good_file_in_any_order(lines):
    outcome("\n".join(lines).encode())


TOML_VALUES = st.recursive(
    st.sampled_from(["nan", "-inf", "1e400", "-0.0", "true", "07:32:00", "1979-05-27", '""', "[]"])
    | st.integers(-(10**30), 10**30).map(str)
    | st.floats(allow_nan=False, allow_infinity=False).map(repr)
    | st.sampled_from(['"\\u0007"', '"\\U0001F600"', "'control'", "'ramp'", "'wait'", "{}"])
    | st.sampled_from(['"edge"', '["edge"]', '["nobody"]', '["note"]', "'neighbour'", "'pair'"])
    | st.sampled_from(['{ role = "control" }', '{ role = "pair" }', '{ role = ["edge"] }']),
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda some: f"[{', '.join(some)}]")
        | st.lists(inner, max_size=3).map(
            lambda some: "{" + ", ".join(f"k{n} = {one}" for n, one in enumerate(some)) + "}"
        )
    ),
    max_leaves=6,
)
ASSIGNMENTS = [line for line in FULL.splitlines() if " = " in line]


@SLOW
@given(st.sampled_from(ASSIGNMENTS), TOML_VALUES)
def test_any_value_in_place_of_a_right_one(line, value):
    text = FULL.replace(line, f"{line.split(' = ')[0]} = {value}", 1)
    outcome(text.encode())


FILLERS = st.sampled_from(["", "# a comment = 1", "   ", "# [[stages]]"])
STAGES = (
    {"kind": '"ramp"', "to_c": "88", "rate_c_per_s": "0.6"},
    {"kind": '"hold"', "for_s": "120", "band_c": "5"},
    {"kind": '"wait"', "prompt": '"Apply flux"', "longest_s": "300"},
    {"kind": '"hot_air"', "expects": '"chip_on"', "tool_w": "700"},
    {"kind": '"cool"', "below_c": "50", "fastest_c_per_s": "2"},
)


def pairs(row: dict[str, str], prefix: str = "") -> list[str]:
    return [f"{prefix}{key} = {value}" for key, value in row.items()]


def inline(row: dict[str, str]) -> str:
    return "{ " + ", ".join(pairs(row)) + " }"


@st.composite
def profiles_with_one_wrong_key(draw):
    """Draw a profile in any layout with one wrong key; return (text, line of the wrong key)."""
    stages = [dict(row) for row in STAGES]
    board = {"mass_g": "240", "length_mm": "180", "width_mm": "120"}
    cell = {"role": '"neighbour"', "limit_c": "85"}
    draw(st.sampled_from([board, cell, *stages]))["wrong_key"] = "1"
    plain = ['name = "x"', '"all\\u006fy" = "SAC305"', "laminate = 'FR-4 Tg 150'"]
    board_layouts = [
        ([f"board = {inline(board)}"], []),
        (pairs(board, "board."), []),
        ([], ["[board]", *pairs(board)]),
    ]
    cell_layouts = [
        ([f"sensors.cell = {inline(cell)}"], []),
        (pairs(cell, "sensors.cell."), []),
        ([], ["[sensors.cell]", *pairs(cell)]),
    ]
    stage_layouts = [
        (["stages = [", *(inline(row) + "," for row in stages), "]"], []),
        ([], [line for row in stages for line in ("[[stages]]", *pairs(row))]),
    ]
    board_top, board_tables = draw(st.sampled_from(board_layouts))
    cell_top, cell_tables = draw(st.sampled_from(cell_layouts))
    stages_top, stages_tables = draw(st.sampled_from(stage_layouts))
    lines: list[str] = []
    for line in (
        *plain,
        *board_top,
        *([] if cell_tables else ['sensors."top" = "control"']),
        *cell_top,
        *stages_top,
        *board_tables,
        *(["[sensors]", 'top = "control"'] if cell_tables else []),
        *cell_tables,
        *stages_tables,
    ):
        lines += [*draw(st.lists(FILLERS, max_size=2)), line]
    return "\n".join(lines), 1 + next(n for n, line in enumerate(lines) if "wrong_key" in line)


@SLOW
@given(profiles_with_one_wrong_key())
def test_a_mistake_is_told_with_its_line_in_every_layout(drawn):
    text, line = drawn
    (told,) = mistakes(text)
    assert told.startswith(f"p.toml:{line}: ")
    assert '"wrong_key"' in told


@pytest.mark.parametrize("name", shipped_names())
def test_every_key_of_a_shipped_profile_is_found_on_its_line(name):
    found = read_profile(name)
    lines = found.text.splitlines()
    for index, stage in enumerate(found.source.data["stages"]):
        for key, value in stage.items():
            line = TomlLines(found.text).line_of(("stages", index, key))
            assert line is not None
            assert lines[line - 1].startswith(f"{key} = ")
            assert str(value if not isinstance(value, list) else value[0]) in lines[line - 1]


@SLOW
@given(profiles_with_one_wrong_key())
def test_without_its_wrong_key_the_same_layout_is_right(drawn):
    text, line = drawn
    lines = text.splitlines()
    right = re.sub(r",? ?(\w+\.)*wrong_key = 1", "", lines[line - 1])
    assert right != lines[line - 1]
    lines[line - 1] = right
    assert [stage.kind for stage in read("\n".join(lines)).model.stages] == [
        "ramp",
        "hold",
        "wait",
        "hot_air",
        "cool",
    ]


def test_every_key_of_the_model_is_in_the_text_that_is_varied():
    models = [Profile, Board, Chip, Accepted, Sensor, *STAGE_MODELS.values()]
    keys = {key for model in models for key in model.model_fields}
    assert keys <= set(re.findall(r"\w+", FULL + POWER))


WAYS = '''board.mass_g = 1
"a.b".'c' = { x = 1, y.z = 2 }
rows = [ # a comment
  { x = 1 },

  { x = 2, y = """
""" } ]
[sensors]
top = "control"
[[stages]]
kind = "ramp"
[stages.more]
x = 1
[[stages]]
kind = "cool" # [[stages]]
'''


@pytest.mark.parametrize(
    ("location", "line"),
    [
        (("board",), 1),
        (("board", "mass_g"), 1),
        (("a.b", "c", "y", "z"), 2),
        (("rows",), 3),
        (("rows", 0, "x"), 4),
        (("rows", 1, "y"), 6),
        (("sensors",), 8),
        (("sensors", "top"), 9),
        (("stages", 0, "kind"), 11),
        (("stages", 0, "more", "x"), 13),
        (("stages", 1), 14),
        (("stages", 1, "kind"), 15),
        (("stages", 1, "absent"), 14),
        (("absent",), None),
    ],
)
def test_every_way_to_write_a_key(location, line):
    assert TomlLines(WAYS).line_of(location) == line
