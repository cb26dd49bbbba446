"""Profiles too large, too many mistakes, hostile or no TOML, names and folders that are none."""

import time

import pytest

from emberbed.profiles.model import Profile
from emberbed.profiles.reader import ProfileMistakes, read_profile
from tests.host.profiles.profile_texts import (
    COOL,
    GOOD,
    HEAD,
    RAMP,
    line_of,
    mistakes,
    read,
)


def refused_file(path) -> list[str]:
    with pytest.raises(ProfileMistakes) as refused:
        read_profile(path)
    return refused.value.sentences


@pytest.mark.parametrize("header", ["[[stages]]\n", "[[ stages ]]\nkind = 'ramp'\nto_c = 5\n"])
def test_ten_thousand_stages_are_one_short_sentence(header):
    began = time.process_time()
    told = mistakes(HEAD + header * 10_000)
    assert time.process_time() - began < 2
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
