"""The commonest slips in a text that is no TOML: each named on its line with its mend."""

import time
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.profiles.shipped import shipped_file, shipped_names
from emberbed.profiles.toml_slips import slips
from tests.host.profiles.profile_texts import GOOD, HOLD, changed, line_of, mistakes

# old text, new text, what the one sentence must end with
ONE_SLIP = [
    ("to_c = 88", "to_c = 87,5", "to_c = 87,5: write the decimal with a point: 87.5"),
    ("to_c = 88", "to_c = 87,5 # near 90", "write the decimal with a point: 87.5"),
    ("mass_g = 240", "mass_g = 240,5", "write the decimal with a point: 240.5"),
    ("for_s = 120", "for_s = 1,200", "the comma: 1200, or with a decimal point: 1.2"),
    ("rate_c_per_s = 0.6", "rate_c_per_s = .6", "a digit on both sides of the point: 0.6"),
    ("for_s = 120", "for_s = 120.", "a digit on both sides of the point: 120.0"),
    ("for_s = 120", "for_s = 3 min", "for_s = 3 min: write seconds as a plain number: 180"),
    ("for_s = 120", "for_s = 1,5h", "write seconds as a plain number: 5400"),
    ("for_s = 120", "for_s = 3 m", "write seconds as a plain number, without m"),
    ("to_c = 88", "to_c = 88 °C", "write °C as a plain number: 88"),
    ("to_c = 88", "to_c = 190 °F", "write °C as a plain number: 88"),
    ("to_c = 88", "to_c = 190F", "write °C as a plain number: 88"),
    ("rate_c_per_s = 0.6", "rate_c_per_s = 36 °C/min", "write °C/s as a plain number: 0.6"),
    ("mass_g = 240", "mass_g = 0.24 kg", "write grams as a plain number: 240"),
    ("longest_s = 300", "tool_w = 0.7 kW", "write watts as a plain number: 700"),
    ("length_mm = 180", "length_mm = 18 cm", "write millimetres as a plain number: 180"),
    ('"Apply flux"', '"Apply flux', 'the text has no closing quote; write " at its end'),
    ('"Apply flux"', "'Apply flux", "the text has no closing quote; write ' at its end"),
    ('"Apply flux"', '"""Apply flux', 'the text has no closing """; write it at its end'),
    ('kind = "ramp"', "kind = “ramp”", 'use straight quotes: "ramp"'),
    ('kind = "ramp"', 'kind = "ramp”', 'use straight quotes: "ramp"'),
    ('kind = "ramp"', 'kind = “ramp"', 'use straight quotes: "ramp"'),
    ('"Apply flux"', "„Don't breathe it“ # “so”", 'use straight quotes: "Don\'t breathe it"'),
    ('"Apply flux"', "“Apply flux", 'use straight quotes: "Apply flux"'),
    ('kind = "ramp"', "kind = ramp", 'put the text in quotes: "ramp"'),
    ('"Apply flux"', "Apply flux", 'put the text in quotes: "Apply flux"'),
    ("for_s = 120", "for_s = True", "write it in small letters: true"),
]


@pytest.mark.parametrize(("old", "new", "end"), ONE_SLIP)
def test_a_slip_gets_its_line_and_its_mend(old, new, end):
    text = changed(old, new)
    (told,) = mistakes(text)
    assert told.startswith(f"p.toml:{line_of(text, new)}: ")
    assert told.endswith(end)


TWICE = [
    (HOLD, HOLD.removeprefix("[[stages]]\n"), 0, "stage; begin the next stage with [[stages]]"),
    ("to_c = 88", "to_c = 88\nto_c = 89", 1, "to_c is given twice in this stage"),
    ('edge = "edge"', 'edge = "edge"\nedge = "pair"', 1, "edge is given twice in [sensors]"),
    ('alloy = "SAC305"', 'alloy = "SAC305"\nalloy = "x"', 1, "alloy is given twice in this file"),
    ('edge = "edge"', '[sensors]\nedge = "edge"', 0, "[sensors] stands twice; join the two"),
]


@pytest.mark.parametrize(("old", "new", "lines_on", "part"), TWICE)
def test_what_stands_twice_is_told_at_its_second_place(old, new, lines_on, part):
    text = changed(old, new)
    (told,) = mistakes(text)
    assert told.startswith(f"p.toml:{line_of(text, new) + lines_on}: ")
    assert part in told


def test_single_brackets_are_told_on_every_line_they_stand_on():
    text = GOOD.replace("[[stages]]", "[stages]")
    told = mistakes(text)
    lines = [n for n, line in enumerate(text.splitlines(), 1) if line == "[stages]"]
    assert [int(sentence.split(":")[1]) for sentence in told] == lines
    assert all("write [[stages]], two brackets" in sentence for sentence in told)


@pytest.mark.parametrize("count", [1, 2])
def test_single_brackets_beside_right_ones(count):
    (told, *more) = mistakes(GOOD.replace("[[stages]]", "[stages]", count))
    assert told.startswith(f"p.toml:{line_of(GOOD, '[[stages]]')}: ")
    assert len(more) == count - 1
    assert "two brackets" in told


def test_the_only_stage_in_single_brackets():
    """That is right TOML of a wrong shape."""
    before = GOOD[: GOOD.index("[[stages]]")]
    text = before + '[stages]\nkind = "ramp"\nto_c = 88\nrate_c_per_s = 0.3\n'
    (told,) = mistakes(text)
    assert told.startswith(f"p.toml:{line_of(text, '[stages]')}: ")
    assert "write [[stages]], two brackets" in told


def test_all_slips_are_told_at_once_and_a_fault_before_them_too():
    text = GOOD
    wrong = ["to_c = 87,5", "for_s = 3 min", "prompt = “Apply flux”", 'kind = "cool']
    for new in wrong:
        old = next(line for line in GOOD.splitlines() if line[:5] == new[:5] and "hold" not in line)
        old = 'kind = "cool"' if "cool" in new else old
        text = text.replace(old, new, 1)
    told = mistakes(text)
    assert [int(sentence.split(":")[1]) for sentence in told] == [line_of(text, n) for n in wrong]
    before, *rest = mistakes(text.replace("name = ", "name : ", 1))
    assert before.startswith("p.toml:1: this line cannot be read") and rest == told


def test_thousands_of_slips_are_counted_not_told():
    told = mistakes("".join(f"k{n} = 1,5\n" for n in range(3000)))
    assert len(told) == 51 and "2950 more mistakes" in told[-1]


RIGHT = [
    GOOD,
    "a = 0xFF\nb = 1e5\nc = 2026-01-01T07:32:00Z\nd = -inf\ne = nan\nf = 1_000\ng = 07:32:00\n",
    'x = """\nto_c = 87,5\n[stages]\n"""\n# to_c = 87,5 “so”\ny = "“so”, 3 = 3 min"\n',
    "x = [\n 1,5,\n]\ny = { a = 1, b = [2,3], c = 4 }\nz = 'don\"t # to_c = 1,5'\n",
    "[a]\nk = 1\n[b]\nk = 1\n[[c]]\nk = 1\n[[c]]\nk = 1\n",
]


@pytest.mark.parametrize("text", RIGHT)
def test_nothing_is_found_in_right_toml(text):
    assert tomllib.loads(text)
    assert slips(text) == []


@pytest.mark.parametrize("name", shipped_names())
def test_nothing_is_found_in_a_shipped_profile(name):
    assert slips(shipped_file(name).read_text(encoding="utf-8")) == []


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="a1_= \n\"'#[]{},.“”\\\r", max_size=60))
def test_right_toml_of_any_kind_has_no_slips_and_nothing_raises(text):
    found = slips(text)
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert found == []


@pytest.mark.parametrize("piece", ["a", " ", "a ", "a=", "= ", "[", '"', "“", "1,", "a = 1 "])
def test_a_hostile_line_takes_no_time(piece):
    began = time.process_time()
    slips(piece * (64 * 1024 // len(piece)))
    assert time.process_time() - began < 2
