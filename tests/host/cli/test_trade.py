"""The commands materials, moisture and board, and accepting a warning, in process."""

import json
from xml.etree import ElementTree

import pytest

from tests.host.profiles.profile_texts import GOOD

WARM = GOOD.replace("below_c = 50", "below_c = 60")


@pytest.fixture(autouse=True)
def own_files(tmp_path, monkeypatch):
    monkeypatch.setenv("EMBERBED_MATERIALS", str(tmp_path / "mine.toml"))
    monkeypatch.setenv("EMBERBED_MOISTURE", str(tmp_path / "moisture.csv"))


def test_materials_lists_all_and_shows_one_with_its_source(emberbed, tmp_path):
    said = emberbed("materials").out
    assert "SAC305: solid up to 217 °C" in said and "J-STD-020C: 60 to 180 s" in said
    assert str(tmp_path / "mine.toml") in said
    one = emberbed("materials", "FR-4 Tg 150").out
    assert "internationalcircuits.com/materials (confirmed)" in one
    listed = json.loads(emberbed("materials", "fluxes", "--json").out)
    assert {row["shelf"] for row in listed} == {"fluxes"}
    assert all(f["source"] for row in listed for f in row["figures"].values())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("materials", "sac305"), 'did you mean "SAC305"'),
        (("moisture", "bake", "--level", "9", "--thickness", 1), "is no moisture level"),
        (("moisture", "bake", "--level", "3", "--thickness", 9), "ends at 4.5 mm"),
        (("moisture", "note", "U5", "dry"), "U5 is new: say what it is"),
        (("moisture", "note", "U5", "opened", "--at", "noon"), '--at "noon" is no time'),
        (("moisture", "drying", "nowhere", "--thickness", 1), "there is no such file"),
        (("moisture", "drying", "label-printer", "--thickness", "nan"), "is no body in mm"),
        (("board", "--size", "180"), '--size "180" is not LENGTH,WIDTH'),
        (("board", "--size", "180,120", "--circuit", 12), "--circuit 12 is none of 10, 13, 15, 16"),
        (("board", "--size", "180,120", "--at", 500), "--at 500 is outside"),
        (("board", "--size", "180,120", "--heater", "nan"), "--heater nan is outside"),
        (("board", "--size", "180,120", "--bank", "0,10"), "length_mm is 0"),
        (("check", "label-printer", "--accept", 1, "--reason", "x"), "there is no warning 1"),
        (("check", "label-printer", "--reason", "x"), "name the warning with --accept"),
    ],
)
def test_bad_input_is_one_sentence(emberbed, words, said):
    answer = emberbed(*words)
    assert answer.exit_code == 2 and len(answer.lines) == 1
    assert said in answer.lines[0]


def test_a_broken_file_of_ones_own_is_told(emberbed, tmp_path):
    (tmp_path / "mine.toml").write_text("[alloys.x]\nsolidus_c = 5\n")
    answer = emberbed("materials")
    assert answer.exit_code == 2 and "mine.toml: alloy x: " in answer.lines[0]


def test_floor_life_from_opening_to_bake(emberbed, tmp_path):
    emberbed("moisture", "note", "U5", "opened", "--level", "3", "--thickness", 1.2,
             "--at", "2026-01-01T08:00")  # fmt: skip
    assert "its floor life is over" in emberbed("moisture", "parts").out
    emberbed("moisture", "note", "U5", "baked", "--oven", 125, "--hours", 9)
    (part,) = json.loads(emberbed("moisture", "parts", "--json").out)
    assert part["used_h"] == 0 and part["left_h"] == 168 and not part["out"]
    assert (tmp_path / "moisture.csv").read_text().count("\n") == 3


def test_a_bake_is_told_and_written_as_a_profile(emberbed):
    words = ("moisture", "bake", "--level", "3", "--thickness", 1.2, "--oven", 110)
    told = json.loads(emberbed(*words, "--json").out)
    assert told["sure_hours"] == 33 and told["between_c"] == [90, 125]
    said = emberbed(*words, "--out", "bake.toml")
    assert "2 runs of 16.5 h at 110 °C" in said.out and "Somebody has to be there" in said.out
    assert emberbed("check", "bake.toml").exit_code == 0


def test_drying_is_told_with_its_caution(emberbed):
    said = emberbed("moisture", "drying", "label-printer", "--thickness", 2.2).out
    assert "of the moisture is still in the body" in said and "are no bake" in said


def test_a_board_is_told_and_drawn(emberbed, tmp_path):
    said = emberbed("board", "--size", "120,80", "--mass", 100, "--map", "map.svg")
    assert said.exit_code == 0
    for word in ("kW/m²", "Feasible", "Expected spread", "Thermocouples", "mass_g = 100"):
        assert word in said.out
    ElementTree.parse(tmp_path / "map.svg")


def test_a_warning_is_accepted_once_with_its_reason(emberbed, tmp_path):
    (tmp_path / "warm.toml").write_text(WARM, encoding="utf-8")
    said = emberbed("check", "warm.toml", "--accept", 1, "--reason", "Scrap board")
    assert said.exit_code == 0 and said.out.startswith("accepted: warm.toml:")
    again = emberbed("check", "warm.toml")
    assert "(accepted: Scrap board)" in again.out
    assert again.out.splitlines()[-1] == "warm.toml may run: no errors, no warnings, 1 accepted."
    (found,) = [one for one in json.loads(emberbed("check", "warm.toml", "--json").out)
                if one["reason"]]  # fmt: skip
    assert (found["value"], found["limit"], found["unit"]) == (60, 50, "°C")
    assert found["source"] == "tools below 50 °C, common practice, no source"


def test_nothing_is_written_that_cannot_be_read_again(emberbed, tmp_path):
    text = "accepted = []\n" + WARM
    (tmp_path / "warm.toml").write_text(text, encoding="utf-8")
    said = emberbed("check", "warm.toml", "--accept", 1, "--reason", "Scrap board")
    assert said.exit_code == 2 and "[[accepted]] tables, not as one list" in said.lines[0]
    assert (tmp_path / "warm.toml").read_text(encoding="utf-8") == text


def test_a_boards_own_file_takes_the_acceptance_not_its_base(emberbed, tmp_path):
    (tmp_path / "recipe.toml").write_text(WARM, encoding="utf-8")
    (tmp_path / "own.toml").write_text('base = "recipe"\nname = "Own"\n', encoding="utf-8")
    said = emberbed("check", "own.toml", "--accept", 1, "--reason", "Scrap board")
    assert said.exit_code == 0
    assert (tmp_path / "recipe.toml").read_text(encoding="utf-8") == WARM
    assert "1 accepted" in emberbed("check", "own.toml").out
    assert "1 warning" in emberbed("check", "recipe.toml").out
    (tmp_path / "recipe.toml").write_text(WARM.replace("0.4", "0.3"), encoding="utf-8")
    assert "for another revision" in emberbed("check", "own.toml").out


def test_a_shipped_profile_is_not_written_into(emberbed):
    hot = emberbed("check", "label-printer", "--accept", 9, "--reason", "x")
    assert hot.exit_code == 2
