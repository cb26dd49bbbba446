"""Stores and pages that cannot be: exit 2, one sentence, no heat."""

import os

import pytest

from tests.host.cli.refusals import PRESSED, refused

# store and page


def test_a_store_that_is_none(emberbed, tmp_path):
    (tmp_path / "notes.txt").write_text("no database " * 100)
    sentence = refused(emberbed(*PRESSED, "--store", "notes.txt"))
    assert sentence == "notes.txt is not a run store; name another file with --store"
    assert (tmp_path / "notes.txt").read_text().startswith("no database")


def test_a_store_that_is_a_folder(emberbed, tmp_path):
    (tmp_path / "folder").mkdir()
    for words in (PRESSED, ("runs", "list"), ("runs", "show", "1"), ("runs", "export", "1")):
        sentence = refused(emberbed(*words, "--store", "folder"))
        assert sentence.startswith("folder cannot be opened; check that it is a file")


def test_a_store_in_a_folder_that_cannot_be(emberbed, tmp_path):
    (tmp_path / "file").write_text("")
    sentence = refused(emberbed(*PRESSED, "--store", os.path.join("file", "runs.sqlite")))
    assert "its folder cannot" in sentence and "--store" in sentence


@pytest.mark.parametrize(
    "page", ["folder", os.path.join("file", "page.html"), os.path.join("nowhere", "page.html")]
)
def test_a_page_that_cannot_be_written_is_refused_before_any_heat(emberbed, tmp_path, page):
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("")
    sentence = refused(emberbed(*PRESSED, "--page", page))
    assert sentence.startswith(f"The run's page cannot be written to {page}")
    assert "--page" in sentence
    assert emberbed("runs", "list", "--json").out.strip() == "[]"


@pytest.mark.parametrize("words", [("show", "99"), ("show", "x"), ("export", "0"), ("audit", "-1")])
def test_no_such_run(emberbed, store, words):
    store()
    command, number = words
    sentence = refused(emberbed("runs", command, "--store", "runs.sqlite", "--", number))
    assert sentence == (
        f"runs.sqlite has no run {number}; see those it has with: emberbed runs list"
    )


@pytest.mark.parametrize("command", ["list", "show", "export", "page", "audit"])
def test_no_store_yet(emberbed, command):
    sentence = refused(emberbed("runs", command, "--store", "nowhere.sqlite"))
    assert sentence.startswith("nowhere.sqlite does not exist; `emberbed run` makes a run store")


def test_a_store_that_cannot_even_be_looked_for(emberbed):
    sentence = refused(emberbed("runs", "list", "--store", "a" * 5000))
    assert "cannot be opened (" in sentence and sentence.endswith("name another file with --store")


def test_a_store_that_takes_no_bytes(emberbed):
    sentence = refused(emberbed("runs", "list", "--store", os.devnull))
    assert "rollback" not in sentence and "--store" in sentence


def test_output_that_cannot_be_written(emberbed, store, tmp_path):
    store()
    (tmp_path / "folder").mkdir()
    for words in (("export", "--to"), ("page", "--to")):
        sentence = refused(emberbed("runs", *words, "folder", "--store", "runs.sqlite"))
        assert sentence.startswith("folder cannot be written")
    sentence = refused(emberbed("rehearse", "weather-logger", "--picture", "folder"))
    assert sentence.startswith("folder cannot be written")


@pytest.mark.parametrize("words", [["nonsense"], ["runs", "nonsense"], ["run", "a", "b"]])
def test_no_such_command(emberbed, words):
    said = emberbed(*words)
    assert said.exit_code == 2
    assert "Usage: emberbed" in said.err
