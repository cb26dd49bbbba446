"""Where the sensors lay comes back for the same type of board, with its photograph."""

import hashlib

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.jobs.kept_files import FOLDER
from emberbed.jobs.placements import add_placement, last_placement
from emberbed.report.photos import PhotoError
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import facts

PRINTER = "Label printer, main board"


def test_nothing_is_known_of_a_new_type_of_board(store):
    assert last_placement(store, PRINTER) is None


def test_the_newest_one_is_told_with_a_whole_copy_of_the_photograph(store, picture, tmp_path):
    run_id = store.begin_run(facts())
    add_placement(store, PRINTER, "edge at J3")
    photo = picture()
    add_placement(store, PRINTER, "edge at J4,\n chip under the corner", photo, run_id)
    octets = photo.read_bytes()
    photo.unlink()  # the copy is the store's own
    with RunStore.open(store.path) as again:
        found = last_placement(again, "label  PRINTER, main board ")
    assert (found.board, found.run_id) == (PRINTER, run_id)
    assert found.note == "edge at J4, chip under the corner"
    assert found.photo.read_bytes() == octets
    assert found.photo == tmp_path / "data" / FOLDER / f"{hashlib.sha256(octets).hexdigest()}.png"


def test_the_same_words_keep_the_photograph_and_other_words_do_not(store, picture):
    add_placement(store, PRINTER, "edge at J3", picture(name="a.jpg"))
    assert add_placement(store, PRINTER, "edge at J3").photo.suffix == ".jpg"
    assert add_placement(store, PRINTER, "edge at J9").photo is None


def test_boards_do_not_share_placements(store):
    add_placement(store, PRINTER, "edge at J3")
    assert last_placement(store, "Weather logger") is None


def test_a_copy_that_was_lost_or_changed_is_not_shown(store, picture):
    photo = add_placement(store, PRINTER, "edge at J3", picture()).photo
    photo.write_bytes(b"something else")
    assert last_placement(store, PRINTER).photo is None
    assert add_placement(store, PRINTER, "edge at J3", picture()).photo == photo  # mended
    photo.unlink()
    assert last_placement(store, PRINTER).photo is None


def test_what_cannot_be_kept_is_named(store, picture, tmp_path):
    with pytest.raises(NotReady) as refused:
        add_placement(store, " ", "edge at J3")
    assert "The type of board is 1 to 80 characters" in refused.value.sentences[0]
    with pytest.raises(NotReady) as refused:
        add_placement(store, PRINTER, "x" * 501)
    assert "The note on the sensors is 1 to 500 characters" in refused.value.sentences[0]
    odd = tmp_path / "photo.png"
    odd.write_text("no picture")
    with pytest.raises(PhotoError, match="is no PNG or JPEG"):
        add_placement(store, PRINTER, "edge at J3", odd)
    assert last_placement(store, PRINTER) is None
