"""Profiles by name: nothing outside their places, nothing written over, whole or not at all."""

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.page.judging import checked, rehearsed, titles
from emberbed.page.library import GIVEN, OWN, SHIPPED, Library
from emberbed.profiles.shipped import shipped_names
from tests.support.profiles import hold_profile

# path traversal, Windows device names, hidden names (OWASP path traversal page, from memory)
BAD_NAMES = [
    "../escape", "..", ".", "", "a/b", "a\\b", "/etc/passwd", "C:\\x", "con", "NUL", "com1", "lpt9",
    "x" * 49, "tab\tname", "nul\0name", "name.toml", "~root", "ä", "a b", "%2e%2e", ".hidden",
]  # fmt: skip


@pytest.fixture
def library(tmp_path):
    return Library(tmp_path / "profiles")


def test_shipped_profiles_are_offered(library):
    assert library.names() == [(SHIPPED, name) for name in shipped_names()]
    assert "[[stages]]" in library.read(SHIPPED, "label-printer").text


def test_a_saved_profile_is_there_again(library):
    saved = library.save("my-board_2", hold_profile(), "")
    assert library.names()[0] == (OWN, "my-board_2")
    assert library.read(OWN, "my-board_2") == saved


@pytest.mark.parametrize("name", BAD_NAMES)
def test_a_name_that_is_none_reaches_nothing(library, name, tmp_path):
    before = sorted(tmp_path.rglob("*"))
    for act in (lambda: library.save(name, "x", ""), lambda: library.read(OWN, name)):
        with pytest.raises(NotReady) as refused:
            act()
        assert len(refused.value.sentences) == 1
    assert sorted(tmp_path.rglob("*")) == before


def test_a_link_out_of_the_folder_is_not_followed(library, tmp_path):
    secret = tmp_path / "secret.toml"
    secret.write_text("secret")
    library.folder.mkdir()
    (library.folder / "link.toml").symlink_to(secret)
    assert (OWN, "link") not in library.names()
    with pytest.raises(NotReady):
        library.read(OWN, "link")


def test_a_profile_that_is_there_is_not_written_over(library):
    saved = library.save("mine", "one", "")
    with pytest.raises(NotReady, match="is there already"):
        library.save("mine", "two", "")
    library.save("mine", "two", saved.mark)
    assert library.read(OWN, "mine").text == "two"


def test_another_programs_change_is_not_lost(library):
    saved = library.save("mine", "one", "")
    (library.folder / "mine.toml").write_text("theirs")
    with pytest.raises(NotReady, match="changed by another program"):
        library.save("mine", "two", saved.mark)
    assert library.read(OWN, "mine").text == "theirs"


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(NotReady, match="--profiles"):
        Library(tmp_path / "file").save("mine", "one", "")


def test_the_file_named_at_the_start_comes_first(tmp_path):
    given = tmp_path / "any name at all.toml"
    given.write_text(hold_profile())
    library = Library(tmp_path / "profiles", given)
    assert library.names()[0] == (GIVEN, given.stem)
    assert library.read(GIVEN, "whatever").path == str(given)


def test_a_check_gives_the_commands_sentences():
    text = hold_profile().replace("to_c = 60", "to_c = 600")
    found = checked(text, "mine.toml")
    assert not found["may_run"]
    assert found["findings"][0]["sentence"].startswith("mine.toml:10: stage 1 (ramp): ")
    assert found["findings"][0]["line"] == 10


def test_a_good_profile_comes_with_its_line():
    found = checked(hold_profile(for_s=60, prompt="Clean the pads"), "mine.toml")
    assert found["may_run"]
    assert found["asks"] == ["Clean the pads"]
    assert found["line"][0] == [0.0, 20.0, 0]  # START_CDEG
    assert found["line"][-1][:2] == [pytest.approx(40 / 0.3 + 60, abs=0.1), 60.0]


def test_a_rehearsal_ends_as_the_command_says():
    found = rehearsed(hold_profile(), "mine.toml", None)
    assert found["state"] == "finished"
    assert any(line.startswith("Finished: ") and "limit" in line for line in found["said"])
    assert 0 < found["press_s"] < 60


def test_what_cannot_be_rehearsed_is_told():
    assert rehearsed("name = 1", "mine.toml", None)["sentences"]
    assert [one["mistakes"] > 0 for one in titles(["name = 1", hold_profile()])] == [True, False]
