"""One recipe for many boards: what a board's own file changes, and whose mistake is whose."""

import tomllib

import pytest

from emberbed.profiles.check import check_profile
from emberbed.profiles.reader import ProfileMistakes, parse_profile, read_profile
from emberbed.profiles.shipped import shipped_names
from tests.host.profiles.profile_texts import GOOD

OWN = """base = "recipe"
name = "Weather logger"
board = { mass_g = 90, length_mm = 100, width_mm = 80 }
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "recipe.toml").write_text(GOOD, encoding="utf-8")
    return tmp_path


def whole(folder, text):
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return read_profile(path)


def refused(folder, text):
    with pytest.raises(ProfileMistakes) as mistakes:
        whole(folder, text)
    return mistakes.value.sentences


def test_what_differs_is_the_boards_own_and_the_rest_the_recipes(folder):
    model, recipe = whole(folder, OWN).model, parse_profile(GOOD.encode(), "recipe").model
    assert model.name == "Weather logger" and model.board and model.board.mass_g == 90
    assert model.stages == recipe.stages and model.sensors == recipe.sensors
    assert (model.alloy, model.laminate) == (recipe.alloy, recipe.laminate)


def test_corrections_of_every_stage_and_of_one(folder):
    model = whole(
        folder,
        OWN
        + "[[corrections]]\nto_c_plus = -3\nrate_times = 0.5\nfor_s_plus = 30\n"
        + "[[corrections]]\nstage = 4\nto_c = 130\nhold_back_c = 12\n",
    ).model
    first, hold, _wait, soak, _cool = model.stages
    # by hand: 88 - 3, 0.6 x 0.5, 120 + 30; the second correction writes over the first
    assert (first.to_c, first.rate_c_per_s, hold.for_s) == (85, 0.3, 150)
    assert (soak.to_c, soak.rate_c_per_s, soak.hold_back_c) == (130, 0.2, 12)


def test_its_text_needs_neither_file(folder):
    file = whole(folder, OWN + "[[corrections]]\nto_c_plus = -3\n")
    alone = parse_profile(file.text.encode(), "kept with the run")
    assert alone.model == file.model
    assert "base" not in tomllib.loads(file.text)


@pytest.mark.parametrize("name", shipped_names())
def test_every_shipped_profile_can_be_a_base(name, tmp_path):
    own = OWN.replace("recipe", name)
    model = whole(tmp_path, own).model
    assert model.stages == read_profile(name).model.stages
    assert model.accepted == []  # what was accepted for the base is not for this board


def test_a_finding_names_the_file_that_holds_it(folder):
    text = OWN + "[[corrections]]\nstage = 4\nto_c = 145\n"
    found = check_profile(whole(folder, text))
    (hot,) = [one for one in found if one.severity == "warning"]
    assert hot.line == 6 and ":6: stage 4 (ramp): 145 °C" in hot.sentence
    assert "own.toml" in hot.sentence
    (folder / "recipe.toml").write_text(GOOD.replace("below_c = 50", "below_c = 60"))
    (late,) = [one for one in check_profile(whole(folder, OWN)) if one.severity == "warning"]
    assert late.sentence.startswith("recipe.toml:") and late.line is None


BAD = [
    (OWN.replace('"recipe"', '"nowhere"'), 'own.toml:1: there is no "nowhere.toml" beside'),
    (OWN.replace('"recipe"', '"../recipe"'), "own.toml:1: base = '../recipe' is no name"),
    (OWN.replace('"recipe"', "7"), "own.toml:1: base = 7 is no name"),
    (OWN.replace('name = "Weather logger"\n', ""), "the key name is missing"),
    (OWN + '[[stages]]\nkind = "cool"\n', "takes its stages from there"),
    (OWN + "corrections = 3\n", "own.toml:4: corrections are a list of tables"),
    (OWN + "[[corrections]]\nstage = 9\n", "own.toml:5: stage = 9 is no stage of the base"),
    (OWN + "[[corrections]]\nstage = true\n", "stage = True is no stage of the base"),
    (OWN + "[[corrections]]\nstage = 1\nkind = 'hold'\n", "a correction changes no kind"),
    (OWN + "[[corrections]]\nto_c_plus = 51\n", "is not a number from -50 to 50 °C"),
    (OWN + "[[corrections]]\nto_c_plus = nan\n", "is not a number from -50 to 50 °C"),
    (OWN + "[[corrections]]\nto_c = 90\n", '"to_c" is not known here; did you mean "to_c_plus"'),
    (OWN + "[[corrections]]\nstage = 1\nto_c = 300\n", "own.toml:6: stage 1 (ramp): to_c = 300"),
    (OWN + "[[corrections]]\nstage = 1\nto_f = 30\n", 'stage 1 (ramp): the key "to_f"'),
    (OWN + "colour = 3\n", 'own.toml:4: the key "colour" is not known here'),
]


@pytest.mark.parametrize(("text", "said"), BAD)
def test_a_mistake_is_told_with_its_place(folder, text, said):
    (sentence,) = refused(folder, text)
    assert said in sentence


def test_a_mistake_of_the_base_is_told_there(folder):
    (folder / "recipe.toml").write_text(GOOD.replace("to_c = 140", "to_c = 400"))
    (sentence,) = refused(folder, OWN)
    assert sentence.startswith("recipe.toml:") and "to_c = 400" in sentence
    (folder / "recipe.toml").write_text("name = ")
    (sentence,) = refused(folder, OWN)
    assert sentence.startswith("recipe.toml:1:")


def test_no_base_has_a_base(folder):
    (folder / "second.toml").write_text(OWN)
    (sentence,) = refused(folder, OWN.replace('"recipe"', '"second"'))
    assert "second has a base itself" in sentence


def test_a_text_without_a_folder_reaches_shipped_profiles_only(folder):
    with pytest.raises(ProfileMistakes):
        parse_profile(OWN.encode(), "typed")
    typed = parse_profile(OWN.replace("recipe", "label-printer").encode(), "typed")
    assert typed.model.name == "Weather logger"
