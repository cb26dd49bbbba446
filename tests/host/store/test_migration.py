"""A store of every earlier version is opened, upgraded in one transaction, read and audited.

version_N.sql is the dump of a file that the program of that version wrote (sqlite3's iterdump): a
run that was stopped and one that nobody ended, its writer long gone.
"""

import errno
import sqlite3
import struct
from pathlib import Path

import pytest

from emberbed.jobs.book import JobBook
from emberbed.jobs.placements import last_placement
from emberbed.records import decode_record, form_of
from emberbed.store import schema
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed_fw.record import FIXED_BYTES
from tests.host.store.synthetic_run import drawn_cdeg, drawn_record, facts

# told by the program of each version when it had written the run that was stopped
HEADS = {
    1: "fbd221c1a74d7e087cb2997e662d156ef348604ce7b783da6682faf0c309e54c",
    2: "66685e056d89d14f5d67cc4cd146c0024ec0b4216ff5dc3b8a70a7a0c93322f5",
    3: "25e83216712b0a709175003723317428b9fe2b4a4723ab0ae71169fd92dcef05",
}


def written_by(version, path):
    """Make a file of a version; return its path."""
    dump = Path(__file__).parent / f"version_{version}.sql"
    change(path, dump.read_text(encoding="utf-8"))
    assert version_of(path) == version
    return path


@pytest.fixture
def old(tmp_path):
    """Return the path of a file of version 1."""
    return written_by(1, tmp_path / "runs.sqlite")


def change(path, script):
    connection = sqlite3.connect(path)
    connection.executescript(script)
    connection.close()


def version_of(path):
    connection = sqlite3.connect(path)
    try:
        return connection.execute("PRAGMA user_version").fetchone()[0]
    finally:
        connection.close()


def test_every_earlier_version_has_a_file_here():
    assert [*HEADS, schema.VERSION] == [number for number, _steps in schema.MIGRATIONS]


@pytest.mark.parametrize("version", HEADS)
def test_a_file_of_every_version_is_upgraded_and_its_chains_stay(version, tmp_path):
    path = written_by(version, tmp_path / "runs.sqlite")
    with RunStore.open(path) as store:
        assert version_of(path) == schema.VERSION
        stopped, left = store.runs()
        assert (stopped.state, stopped.exit_code) == ("stopped", 4)
        assert (stopped.head_sha256, left.state) == (HEADS[version], "open")
        assert store.audit(1) == store.audit(2) == []
        assert len(list(store.raw_records(1))) == 10
        assert store.events(1)[0].sentence.startswith("Stage 2 of 4")
        book = JobBook(store)  # what the version did not have yet works
        book.join_run(book.new("Label printer"), stopped.id)
        assert last_placement(store, "Label printer") is None
        assert store.audit(1) == []
    with RunStore.open(path) as store:
        assert JobBook(store).job(1).runs == (1,)


@pytest.mark.parametrize("version", HEADS)
def test_a_copy_as_it_was_is_kept_beside_it(version, tmp_path):
    path = written_by(version, tmp_path / "runs.sqlite")
    before = dump_of(path)
    RunStore.open(path).close()
    kept = tmp_path / f"runs-version-{version}.sqlite"
    assert version_of(kept) == version and dump_of(kept) == before
    RunStore.open(path).close()
    assert sorted(one.name for one in tmp_path.glob("*.sqlite")) == [kept.name, path.name]


def test_a_new_store_needs_no_copy(tmp_path):
    RunStore.open(tmp_path / "runs.sqlite").close()
    assert [one.name for one in tmp_path.glob("runs*.sqlite")] == ["runs.sqlite"]


def test_nothing_is_changed_where_no_copy_can_be_kept(old, monkeypatch):
    def full(*_paths):
        raise OSError(errno.ENOSPC, "No space left on device")

    before = dump_of(old)
    monkeypatch.setattr("emberbed.store.kept_copy.os.replace", full)
    with pytest.raises(StoreError, match=r"runs-version-1\.sqlite.*No space left.*make room"):
        RunStore.open(old)
    assert dump_of(old) == before and version_of(old) == 1
    assert not list(old.parent.glob("*version*"))


def dump_of(path):
    connection = sqlite3.connect(path)
    try:
        return list(connection.iterdump())
    finally:
        connection.close()


@pytest.mark.parametrize("version", HEADS)
def test_a_file_of_every_version_is_made_as_a_new_one_is(version, tmp_path):
    path = written_by(version, tmp_path / "old.sqlite")
    RunStore.open(path).close()
    RunStore.open(tmp_path / "new.sqlite").close()
    assert tables_of(path) == tables_of(tmp_path / "new.sqlite")


def tables_of(path):
    """Return every table with its columns and every index of a file."""
    connection = sqlite3.connect(path)
    names = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema ORDER BY name")]
    columns = {name: connection.execute(f"PRAGMA table_info({name})").fetchall() for name in names}
    connection.close()
    return columns


def test_old_runs_are_there_and_untouched(old):
    with RunStore.open(old) as store:
        assert version_of(old) == schema.VERSION == 4
        stopped, left = store.runs()
        assert (stopped.state, stopped.exit_code, stopped.head_sha256) == ("stopped", 4, HEADS[1])
        assert left.state == "open"
        assert (stopped.linked_to, store.run(1).trip_counts) == (None, None)
        assert store.audit(1) == store.audit(2) == []
        assert store.events(1)[0].sentence.startswith("Stage 2 of 4")


def test_old_records_are_read_in_their_own_form(old):
    with RunStore.open(old) as store:
        assert form_of(store.run(1).plan) == 1
        raw, records = list(store.raw_records(1)), list(store.records(1))
    assert len(raw[-1]) < FIXED_BYTES  # the form of before
    assert [record.tick for record in records] == list(range(840, 850))
    for record in records:
        assert record.channel_cdeg(0) == record.asked_cdeg() == drawn_cdeg(record.tick)[1]
        assert (record.touch, record.mark, record.offset_cdeg) == (0, 0, 0)
    with pytest.raises(ValueError, match="a record has"):
        decode_record(raw[-1])


def test_records_of_the_second_form_are_read_in_theirs():
    """Offsets as the firmware of plan format 2 packed them, counted by hand from its table."""
    octets = bytearray(struct.calcsize("<IHHB32s8BIIiHHI2B3BhB4H8i8h"))
    struct.pack_into("<I", octets, 0, 77)
    struct.pack_into("<BBBBBB", octets, 41, 5, 0, 2, 0, 0, 9)  # state .. withheld
    struct.pack_into("<BBBhB", octets, 71, 6, 2, 3, -150, 1)  # touch .. trips_of_cause
    struct.pack_into("<i", octets, 85, 6025)  # channel0_cdeg
    record = decode_record(bytes(octets), form_of(bytes([2])))
    assert (record.tick, record.state, record.stage, record.withheld) == (77, 5, 2, 9)
    assert (record.touch, record.touch_source, record.mark) == (6, 2, 3)
    assert (record.offset_cdeg, record.trips_of_cause, record.channel0_cdeg) == (-150, 1, 6025)


def test_an_old_run_that_nobody_ended_is_closed_like_a_new_one(old):
    with RunStore.open(old) as store:
        store.begin_run(facts())
        change(
            old, "UPDATE run SET process_node = (SELECT process_node FROM run WHERE id = 3)"
            " WHERE id = 2",
        )  # fmt: skip
        assert store.mark_interrupted() == [2]
        assert store.audit(2) == []


def test_old_and_new_runs_lie_side_by_side(old):
    with RunStore.open(old) as store:
        run_id = store.begin_run(facts(linked_to=1))
        store.note_trip_counts(run_id, bytes(20))
        store.append(run_id, [drawn_record(7)])
        store.end_run(run_id, "finished", 0)
    with RunStore.open(old) as store:  # opened again: nothing is left to be done
        assert (store.run(run_id).linked_to, store.run(run_id).trip_counts) == (1, bytes(20))
        assert store.goes_on_as(1) == run_id and store.goes_on_as(run_id) is None
        assert store.audit(1) == store.audit(run_id) == []


@pytest.mark.parametrize("column", ["linked_to = 2", "trip_counts = x'00'"])
def test_what_is_put_into_an_old_run_later_is_found(old, column):
    with RunStore.open(old) as store:
        change(old, f"UPDATE run SET {column} WHERE id = 1")
        assert len(store.audit(1)) == 1 and store.audit(2) == []


def test_an_upgrade_that_fails_changes_nothing(old):
    change(old, "ALTER TABLE run ADD COLUMN trip_counts BLOB")  # so the last step cannot be taken
    with pytest.raises(StoreError, match="runs.sqlite could not be used"):
        RunStore.open(old)
    assert version_of(old) == 1
    connection = sqlite3.connect(old)
    columns = [row[1] for row in connection.execute("PRAGMA table_info(run)")]
    connection.close()
    assert "linked_to" not in columns
