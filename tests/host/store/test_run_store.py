"""The run store keeps what it was given, and says what it cannot keep."""

import sqlite3
import subprocess
import sys
from dataclasses import asdict
from typing import get_args

import pytest

from emberbed.records import decode_record
from emberbed.store import schema
from emberbed.store.database import default_path
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed.store.runs import Gap, RunEnd, RunEvent
from emberbed_fw import record as layout
from emberbed_fw.units import NO_READING_CDEG
from tests.host.store.synthetic_run import drawn_record, facts, store_run, tick_record


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "deep" / "runs.sqlite") as opened:
        yield opened


@pytest.fixture
def run_id(store):
    return store.begin_run(facts())


def raw(store):
    connection = sqlite3.connect(store.path)
    connection.row_factory = sqlite3.Row
    return connection


def test_what_goes_in_comes_out(store):
    records = [drawn_record(tick, commands=b"\x02\x00") for tick in range(25)]
    run_id = store_run(store, records)
    assert list(store.raw_records(run_id)) == records
    assert list(store.records(run_id)) == [decode_record(octets) for octets in records]
    assert list(store.raw_records(run_id, from_tick=20)) == records[20:]
    run = store.run(run_id)
    given = asdict(facts(started_utc=run.started_utc))
    assert {name: getattr(run, name) for name in given} == given
    assert (run.state, run.exit_code, run.limits_exceeded) == ("finished", 0, 0)
    assert (run.ticks, run.first_tick, run.last_tick) == (25, 0, 24)
    assert store.gaps(run_id) == [] and store.audit(run_id) == []
    assert [summary.id for summary in store.runs()] == [run_id]
    assert store.run("last") == store.run(str(run_id)) == run


def test_hostile_text_is_only_text(store):
    name = "'); DROP TABLE run; -- <img src=x> \udc80"
    run_id = store.begin_run(facts(profile_name=name, profile_toml=name))
    store.add_event(run_id, None, "note", name)
    assert store.run(run_id).profile_name == name.replace("\udc80", "?")
    assert store.events(run_id)[0].sentence.startswith("'); DROP TABLE run;")
    assert store.audit(run_id) == []


def test_the_decoded_columns_are_those_of_the_record(store, run_id):
    store.append(run_id, [drawn_record(5, channel1_cdeg=NO_READING_CDEG)])
    with raw(store) as connection:
        row = connection.execute("SELECT * FROM tick").fetchone()
    connection.close()
    decoded = decode_record(row["record"])._asdict()
    columns = set(row.keys()) - {"run_id", "block", "record"}
    assert columns <= {name for name, _code in layout.FIELDS}
    assert {f"channel{channel}_cdeg" for channel in range(8)} < columns
    for name in columns:
        expected = None if decoded[name] == NO_READING_CDEG else decoded[name]
        assert row[name] == expected, name
    assert row["channel1_cdeg"] is None and row["channel0_cdeg"] is not None


def test_the_file_is_written_to_last(store):
    # https://sqlite.org/pragma.html: synchronous FULL is 2. A kill -9 test cannot tell a safe
    # setting from an unsafe one (reliability.md section 6), so the settings themselves are checked.
    ask = store._database.connection.execute
    assert ask("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert ask("PRAGMA synchronous").fetchone()[0] == 2
    assert ask("PRAGMA foreign_keys").fetchone()[0] == 1
    assert ask("PRAGMA user_version").fetchone()[0] == schema.VERSION == 4
    assert ask("PRAGMA busy_timeout").fetchone()[0] >= 1000


def test_run_states_are_told_alike_everywhere(store, run_id):
    assert set(get_args(RunEnd)) | {"open"} == set(schema.RUN_STATES)
    for state in get_args(RunEnd):
        store.end_run(store.begin_run(facts()), state, None)
    assert {run.state for run in store.runs()} == set(schema.RUN_STATES)
    for state in ("open", "melted"):
        with pytest.raises(ValueError, match=state):
            store.end_run(run_id, state, 0)


# append


def test_at_most_ten_records_a_transaction(store, run_id):
    store.append(run_id, [drawn_record(tick) for tick in range(10)])
    with pytest.raises(ValueError, match="at most 10"):
        store.append(run_id, [drawn_record(tick) for tick in range(20, 31)])
    with pytest.raises(ValueError, match="a record has"):
        store.append(run_id, [b"short"])
    assert store.append(run_id, []) == 0
    assert store.run(run_id).ticks == 10


def test_a_record_that_came_twice_is_stored_once(store, run_id):
    assert store.append(run_id, [drawn_record(1), drawn_record(2)]) == 2
    assert store.append(run_id, [drawn_record(2), drawn_record(3), drawn_record(3)]) == 1
    assert store.append(run_id, [drawn_record(1)]) == 0
    assert [record.tick for record in store.records(run_id)] == [1, 2, 3]
    assert store.audit(run_id) == []


def test_another_record_of_a_stored_tick_is_an_error_and_nothing_is_stored(store, run_id):
    store.append(run_id, [drawn_record(7)])
    with pytest.raises(StoreError, match="another record of tick 7"):
        store.append(run_id, [drawn_record(6), drawn_record(7, energy_j=1)])
    with pytest.raises(StoreError, match="another record of tick 8"):
        store.append(run_id, [drawn_record(8), drawn_record(8, energy_j=1)])
    assert [record.tick for record in store.records(run_id)] == [7]


def test_late_records_fill_gaps_in_any_order(store, run_id):
    store.append(run_id, [drawn_record(tick) for tick in (10, 11, 12)])
    store.append(run_id, [drawn_record(tick) for tick in (30, 29, 15)])
    assert store.gaps(run_id) == [Gap(13, 14), Gap(16, 28)]
    assert store.gaps(run_id)[1].ticks == 13
    store.append(run_id, [drawn_record(tick) for tick in (14, 20, 13)])
    assert store.gaps(run_id) == [Gap(16, 19), Gap(21, 28)]
    assert [record.tick for record in store.records(run_id)] == [10, 11, 12, 13, 14, 15, 20, 29, 30]
    assert store.audit(run_id) == []


def test_a_closed_run_takes_nothing_more(store, run_id):
    store.append(run_id, [drawn_record(0)])
    store.end_run(run_id, "stopped", 4, trip=0)
    for late in (
        lambda: store.append(run_id, [drawn_record(1)]),
        lambda: store.add_event(run_id, 1, "note", "late"),
        lambda: store.end_run(run_id, "finished", 0),
    ):
        with pytest.raises(StoreError, match="closed run 1 as stopped; begin a new run"):
            late()
    assert store.run(run_id).state == "stopped"


def test_events_keep_their_order(store, run_id):
    other = store.begin_run(facts())
    store.add_event(run_id, 4, "trip", "first")
    store.add_event(other, None, "note", "elsewhere")
    store.add_event(run_id, 2, "prompt", "second")
    assert store.events(run_id) == [
        RunEvent(1, 4, "trip", "first"),
        RunEvent(2, 2, "prompt", "second"),
    ]
    assert [event.number for event in store.events(other)] == [1]


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
