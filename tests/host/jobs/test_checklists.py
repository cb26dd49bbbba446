"""Checklists are data: ours say what the trade does, a bench adds its own, mistakes are named."""

import re
from importlib.resources import files

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.jobs.checklists import NAMES, OWN_FOLDER, checklists, shipped
from emberbed.page import before_heat
from tests.host.report.test_words import INNER_WORDS

OWN = '[[item]]\nid = "fuse"\nshort = "fuse back"\nasks = "Is the fuse back?"\n'


def test_ours_ask_what_a_rework_needs():
    # common practice, no source: look from the sides, residue the same day, pads on their parts,
    # thin compound, screws crosswise, never a load test without the cooler
    asked = {name: {item.id for item in shipped(name).items} for name in NAMES}
    assert {"moisture", "batteries", "plastics", "shields", "sensors", "flat",
            "extraction"} < asked["before"]  # fmt: skip
    assert {"flush", "clean", "pads", "compound", "screws"} < asked["after"]
    assert {"cooler", "works", "load"} < asked["test"]
    assert [item.id for item in shipped("after").items if item.same_day] == ["clean"]


def test_every_item_is_whole_and_plain():
    for name in NAMES:
        items = shipped(name).items
        assert len({item.id for item in items}) == len(items)
        for item in items:
            assert item.asks.endswith("?") and item.why.endswith("."), item
            assert len(item.short) <= 40 and not item.own
            assert not INNER_WORDS.search(f"{item.short} {item.asks} {item.why}")


def test_the_page_asks_the_same_before_heat():
    # the five questions that the page's screen before heat has to ask
    assert set(before_heat.ITEMS) == {"batteries", "plastics", "sensors", "flat", "extraction"}
    assert before_heat.ITEMS["flat"] == shipped("before").item("flat").short


def test_a_bench_adds_its_own(tmp_path):
    folder = tmp_path / OWN_FOLDER
    folder.mkdir()
    (folder / "after.toml").write_text(OWN, encoding="utf-8")
    lists = checklists(tmp_path)
    assert lists["after"].items[:-1] == shipped("after").items
    assert (lists["after"].items[-1].id, lists["after"].items[-1].own) == ("fuse", True)
    assert lists["before"] == shipped("before")
    assert lists["after"].item("Fuse Back").id == "fuse"


def test_the_example_of_the_documents_can_be_used(tmp_path):
    job_md = (files("emberbed") / "docs" / "job.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```toml\n(.*?)```", job_md, re.DOTALL)
    (tmp_path / OWN_FOLDER).mkdir()
    (tmp_path / OWN_FOLDER / "after.toml").write_text(example, encoding="utf-8")
    assert checklists(tmp_path)["after"].items[-1].short == "fuse back"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[[item]", "it is no TOML"),
        ("a = " + "[" * 3000, "it is no TOML"),
        (OWN.replace("short", "shrot"), 'item 1: shrot is no key; did you mean "short"'),
        (OWN.replace('short = "fuse back"\n', ""), 'item 1 lacks short; add short = "..."'),
        (OWN + OWN, 'item 2: the id "fuse" is taken'),
        (OWN.replace("fuse", "clean", 1), 'item 1: the id "clean" is taken'),
        (OWN.replace('"fuse"', '"Fuse!"', 1), "id is small letters"),
        (OWN.replace('"fuse back"', "3"), "short is 1 to 40 characters"),
        (OWN.replace("Is the fuse back?", "x" * 301), "asks is 1 to 300 characters"),
        (OWN.replace("Is the", "Is \\u202e the"), "asks is 1 to 300 characters of plain text"),
        (OWN + "same_day = 1\n", "same_day is true or false"),
        ("item = 3\n", "tables [[item]] and nothing else"),
        ("item = [3]\n", "item 1 is no table"),
        ("things = 3\n", "tables [[item]] and nothing else"),
        ("# " + "x" * 300_000, "over 256 KiB"),
        (OWN * 101, "101 items; 100 are the most"),
        ("\xff", "it is no UTF-8 text"),
    ],
)
def test_a_broken_list_is_named_with_its_mend(tmp_path, text, sentence):
    path = tmp_path / OWN_FOLDER / "after.toml"
    path.parent.mkdir()
    path.write_bytes(text.encode("latin-1" if text == "\xff" else "utf-8"))
    with pytest.raises(NotReady) as refused:
        checklists(tmp_path)
    (said,) = refused.value.sentences
    assert said.startswith(f"{path}: ") and sentence in said


def test_a_question_that_is_not_there_names_the_near_ones():
    with pytest.raises(NotReady) as refused:
        shipped("after").item("flsh")
    assert str(refused.value) == '"flsh" is no question of the list after; did you mean "flush"?'
