"""Runs that leave a store: recorded, whole where they go, and nothing that has to stay."""

import json

import pytest

from emberbed.bundle import removal
from emberbed.jobs.book import JobBook
from emberbed.jobs.placements import add_placement, last_placement
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import drawn_record, facts, store_run


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        for _run in range(3):
            store_run(opened, [drawn_record(tick) for tick in range(1300)])
        opened.add_note(1, "Flux was old.")
        yield opened


def told(store):
    return [json.loads(line) for line in removal.record_path(store).read_text().splitlines()]


def test_an_archived_run_is_whole_there_and_gone_here(store, tmp_path):
    before = {number: list(store.raw_records(number)) for number in (1, 2)}
    heads = [store.run(number).head_sha256 for number in (1, 2)]
    with RunStore.open(tmp_path / "old.sqlite") as other:
        removal.archive(store, [store.run(1), store.run(2)], other)
        assert [run.head_sha256 for run in other.runs()] == heads
        assert other.audit(1) == other.audit(2) == []
        assert [list(other.raw_records(number)) for number in (1, 2)] == list(before.values())
        assert [note.sentence for note in other.notes(1)] == ["Flux was old."]
    assert [run.id for run in store.runs()] == [3] and store.audit(3) == []
    assert [(one["run"], one["head_sha256"]) for one in told(store)] == list(
        zip((1, 2), heads, strict=True)
    )
    assert told(store)[0]["to"] == str(tmp_path / "old.sqlite")


def test_a_removed_run_leaves_its_job_and_its_placement_in_order(store):
    book = JobBook(store)
    job = book.new("Label printer")
    book.join_run(job, 2)
    add_placement(store, "Label printer", "beside the head", None, 2)
    assert removal.jobs_with(store, store.run(2)) == [job]
    removal.remove(store, [store.run(2)])
    assert book.job(job).runs == ()
    assert last_placement(store, "Label printer").run_id is None
    assert store.database.all("PRAGMA foreign_key_check") == []
    tables = ("tick", "block", "stretch", "event", "snapshot", "note")
    left = [store.database.all(f"SELECT count(*) FROM {t} WHERE run_id = 2")[0][0] for t in tables]
    assert left == [0] * len(tables)
    assert store.audit(1) == store.audit(3) == []
    assert store.begin_run(facts()) == 4, "a number is never given twice"


def test_an_open_run_and_one_that_another_goes_on_from_stay(store):
    later = store.begin_run(facts(linked_to=3))
    with pytest.raises(StoreError, match="still open"):
        removal.remove(store, [store.run(later)])
    store.end_run(later, "finished", 0)
    with pytest.raises(StoreError, match=f"as run {later} goes on from it"):
        removal.remove(store, [store.run(3)])
    assert not removal.record_path(store).exists()
    removal.remove(store, [store.run(3), store.run(later)])
    assert [run.id for run in store.runs()] == [1, 2]


def test_a_changed_run_is_not_moved(store, tmp_path):
    store.database.all("UPDATE event SET sentence = 'All was well.' WHERE run_id = 2")
    store.database.all("UPDATE run SET exit_code = 9 WHERE id = 2")
    with RunStore.open(tmp_path / "old.sqlite") as other, pytest.raises(StoreError, match="stays"):
        removal.archive(store, [store.run(1), store.run(2)], other)
    assert [run.id for run in store.runs()] == [1, 2, 3]


def test_without_a_record_of_it_nothing_is_removed(store):
    removal.record_path(store).mkdir()
    with pytest.raises(StoreError, match="so nothing is removed"):
        removal.remove(store, [store.run(1)])
    assert [run.id for run in store.runs()] == [1, 2, 3]
