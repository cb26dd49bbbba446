"""Runs that were left alone, and files that are no run store."""

import sqlite3
import subprocess
import sys

import pytest

from emberbed.store.database import default_path
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import drawn_record, facts, store_run, tick_record
from tests.host.store.tables import raw

# runs that were left alone

WRITER = """
import sys, time
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import drawn_record, facts
with RunStore.open(sys.argv[1]) as store:
    run_id = store.begin_run(facts())
    for first in range(0, 100000, 10):
        store.append(run_id, [drawn_record(first + more, energy_j=0) for more in range(10)])
        print(first + 9, flush=True)
        time.sleep(0.002)
"""


def test_killing_the_writer_loses_no_committed_record(tmp_path):
    path = tmp_path / "runs.sqlite"
    command = [sys.executable, "-c", WRITER, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        for _ in range(20):
            acknowledged = int(writer.stdout.readline())
        with RunStore.open(path) as reader:  # a second process reads while the first one writes
            assert reader.run("last").ticks >= acknowledged
            assert reader.mark_interrupted() == [], "its writer still lives"
            assert reader.run("last").state == "open"
        writer.kill()
        told = writer.stdout.read().split("\n")
        acknowledged = max([acknowledged, *(int(line) for line in told[:-1])])
    with RunStore.open(path) as store:
        kept = [record.tick for record in store.records(1)]
        assert kept == list(range(len(kept))) and len(kept) > acknowledged
        assert store.run(1).state == "open" and store.audit(1) == []
        assert store.mark_interrupted() == [1] and store.mark_interrupted() == []
        run = store.run(1)
        assert (run.state, run.exit_code) == ("interrupted", None)
        assert run.ended_utc == run.last_stored_utc
        assert store.events(1)[-1].tick == kept[-1]
        assert store.audit(1) == []


def test_an_interrupted_run_keeps_its_trip(store, run_id):
    store.append(run_id, [tick_record(0), tick_record(1, trip=9)])
    empty = store.begin_run(facts())
    with raw(store) as connection:
        connection.execute("UPDATE run SET process_started = 'long ago'")
    connection.close()
    assert store.mark_interrupted() == [run_id, empty]
    assert (store.run(run_id).trip, store.run(empty).trip) == (9, 0)
    assert store.audit(run_id) == store.audit(empty) == []


# what can be wrong with a file


def test_the_place_can_be_named_by_the_environment(monkeypatch, tmp_path):
    monkeypatch.delenv("EMBERBED_STORE", raising=False)
    assert default_path().name == "runs.sqlite" and "emberbed" in str(default_path())
    monkeypatch.setenv("EMBERBED_STORE", str(tmp_path / "other.sqlite"))
    with RunStore.open() as store:
        assert store.path == tmp_path / "other.sqlite" and store.path.exists()


def told(place, *words, **options):
    with pytest.raises(StoreError) as caught:
        RunStore.open(place, **options).close()
    sentence = str(caught.value)
    assert str(place) in sentence and "\n" not in sentence, sentence
    for word in words:
        assert word in sentence, sentence


def test_not_a_database(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("The label printer's fuser shows error 50.\n" * 100)
    before = path.read_bytes()
    told(path, "is not a run store", "--store")
    assert path.read_bytes() == before


def test_another_program_s_database_is_left_alone(tmp_path):
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE stock (part TEXT)")
    connection.close()
    before = path.read_bytes()
    told(path, "another program")
    assert path.read_bytes() == before


def test_a_newer_store(tmp_path):
    path = tmp_path / "runs.sqlite"
    RunStore.open(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 7")
    connection.close()
    told(path, "newer emberbed", "version 7", "pip install --upgrade emberbed")


def test_a_locked_store(tmp_path, monkeypatch):
    monkeypatch.setattr("emberbed.store.database.BUSY_S", 0.05)
    path = tmp_path / "runs.sqlite"
    with RunStore.open(path) as store:
        holder = sqlite3.connect(path, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="held by another program; end the other program"):
            store.begin_run(facts())
        holder.execute("ROLLBACK")
        holder.close()
        assert store.begin_run(facts()) == 1


def test_a_full_disk(store, run_id):
    # SQLite's own way to a full disk: https://sqlite.org/pragma.html#pragma_max_page_count
    store.append(run_id, [drawn_record(tick) for tick in range(10)])
    ask = store._database.connection.execute
    ask(f"PRAGMA max_page_count = {ask('PRAGMA page_count').fetchone()[0]}")
    with pytest.raises(StoreError, match="disk is full; free some space") as caught:
        for first in range(10, 2000, 10):
            store.append(run_id, [drawn_record(first + more) for more in range(10)])
    assert str(store.path) in str(caught.value)
    ask("PRAGMA max_page_count = 1000000")
    kept = store.run(run_id).ticks
    assert kept % 10 == 0 and store.audit(run_id) == [], "no half batch is left"
    assert store.append(run_id, [drawn_record(kept)]) == 1, "and the store goes on"


def test_a_folder_where_a_file_should_be(tmp_path):
    told(tmp_path, "cannot be opened")
    (tmp_path / "file").write_text("")
    told(tmp_path / "file" / "runs.sqlite", "cannot be made")


def test_reading_makes_no_new_store(tmp_path):
    path = tmp_path / "typo.sqlite"
    told(path, "does not exist", create=False)
    assert not path.exists()


def test_a_damaged_file(tmp_path):
    path = tmp_path / "runs.sqlite"
    with RunStore.open(path) as store:
        store_run(store, [drawn_record(tick) for tick in range(300)])
    octets = bytearray(path.read_bytes())
    octets[8192:] = b"\xa5" * (len(octets) - 8192)
    path.write_bytes(octets)
    with (
        pytest.raises(StoreError, match="is damaged; keep a copy") as caught,
        RunStore.open(path) as store,
    ):
        list(store.records(1))
    assert str(path) in str(caught.value)


@pytest.mark.parametrize("wanted", [5, "5", "-1", "soon", 0, 10**30, "last"])
def test_no_such_run(store, wanted):
    with pytest.raises(StoreError, match="emberbed run") as caught:
        store.run(wanted)
    assert str(store.path) in str(caught.value)


def test_no_such_run_anywhere(store):
    for asked in (
        lambda: list(store.records(9)),
        lambda: store.events(9),
        lambda: store.gaps(9),
        lambda: store.audit(9),
        lambda: store.append(9, [drawn_record(0)]),
        lambda: store.add_event(9, 0, "note", "x"),
        lambda: store.end_run(9, "finished", 0),
    ):
        with pytest.raises(StoreError, match="has no run 9"):
            asked()
