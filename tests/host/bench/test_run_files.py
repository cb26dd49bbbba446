"""The page's place is tried before any heat, and left as it was."""

from pathlib import Path

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.bench.run_files import check_page, page_path, write_page
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import facts


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "data" / "runs.sqlite") as opened:
        yield opened


def test_pages_lie_beside_the_store(store, tmp_path):
    check_page(None, store)
    assert page_path(None, store, 7) == tmp_path / "data" / "pages" / "run-7.html"
    assert list((tmp_path / "data" / "pages").iterdir()) == []


def test_a_named_page_is_tried_and_leaves_nothing(store, tmp_path):
    page = tmp_path / "page.html"
    check_page(page, store)
    assert not page.exists()
    assert page_path(page, store, 7) == page


def test_a_page_that_is_there_keeps_its_text(store, tmp_path):
    page = tmp_path / "page.html"
    page.write_text("before")
    check_page(page, store)
    assert page.read_text() == "before"


@pytest.mark.parametrize("place", [".", "file/page.html", "no such folder/page.html"])
def test_a_page_that_cannot_be_is_refused_with_its_name(store, tmp_path, place):
    (tmp_path / "file").write_text("not a folder")
    wanted = tmp_path / place
    with pytest.raises(NotReady) as refused:
        check_page(wanted, store)
    (sentence,) = refused.value.sentences
    assert str(wanted) in sentence
    assert "--page" in sentence
    assert not (tmp_path / "no such folder").exists()


def test_a_page_is_written(store, tmp_path):
    run_id = store.begin_run(facts())
    page = page_path(None, store, run_id)
    assert write_page(store, run_id, page) is None
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_page_that_fails_after_the_run_is_one_sentence(store, tmp_path):
    run_id = store.begin_run(facts())
    (tmp_path / "file").write_text("not a folder")
    for place in (tmp_path, tmp_path / "file" / "page.html", tmp_path / "gone" / "page.html"):
        why = write_page(store, run_id, Path(place))
        assert why and str(place) in why and "cannot be written" in why
