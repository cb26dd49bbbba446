"""The journal: the newest entry counts, nothing is lost, damage is named."""

import sqlite3

import pytest

from emberbed.jobs import journal
from emberbed.jobs.book import JobBook
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore


@pytest.fixture
def database(store):
    return store.database


def written(database, *changes, job_id=None):
    with database.writing():
        job_id = journal.open_journal(database) if job_id is None else job_id
        for change in changes:
            journal.write(database, job_id, change)
    return job_id


def test_the_newest_entry_of_a_subject_counts_and_the_older_ones_stay(database):
    job_id = written(database, {"serial": "LP-1", "fault": "blank"}, {"serial": "LP-2"})
    now = journal.journal_of(database, job_id)
    assert (now.value("serial"), now.value("fault")) == ("LP-2", "blank")
    told = [(one.number, one.subject, one.value) for one in journal.history(database, job_id)]
    assert told == [(1, "serial", "LP-1"), (2, "fault", "blank"), (3, "serial", "LP-2")]


def test_none_takes_back_and_what_is_the_same_is_not_written_again(database):
    job_id = written(database, {"serial": "LP-1"}, {"serial": "LP-1"}, {"serial": None})
    assert "serial" not in journal.journal_of(database, job_id).entries
    written(database, {"serial": None, "found": None}, job_id=job_id)
    assert [one.value for one in journal.history(database, job_id)] == ["LP-1", None]


def test_numbers_of_items_are_never_used_again(database):
    job_id = written(database, {"part/1": {}, "part/2": {}}, {"part/2": None})
    assert journal.next_item(database, job_id, "part") == "part/3"
    assert journal.next_item(database, job_id, "photo") == "photo/1"
    assert list(journal.journal_of(database, job_id).below("part")) == ["1"]


def test_what_all_jobs_say_of_one_subject(database):
    first = written(database, {"board": "a"}, {"board": "b"})
    second = written(database, {"board": "c", "serial": "1"})
    written(database, {"serial": "2"})
    taken_back = written(database, {"board": "d"}, {"board": None})
    assert journal.about(database, "board") == {first: "b", second: "c"}
    assert [one.job_id for one in journal.journals(database)] == [1, 2, 3, taken_back]


def test_two_writers_take_turns(store):
    """Two connections, as the page and a terminal have them: SQLite's own lock orders them."""
    job_id = written(store.database, {"serial": "1"})
    with RunStore.open(store.path) as other:
        for n in range(5):
            written(store.database, {f"part/{2 * n}": n}, job_id=job_id)
            written(other.database, {f"part/{2 * n + 1}": n}, job_id=job_id)
    numbers = [one.number for one in journal.history(store.database, job_id)]
    assert numbers == list(range(1, 12))


@pytest.mark.parametrize(
    "value", ["'{'", "x'ff'", "'{\"outcome\": 3}'", "'[]'", '\'{"outcome": "burnt", "note": ""}\'']
)
def test_a_damaged_entry_is_named(store, value):
    job_id = JobBook(store).new("Label printer")
    JobBook(store).close(job_id, "works")
    connection = sqlite3.connect(store.path)
    connection.execute(f"UPDATE job_entry SET value = {value} WHERE subject = 'closed'")
    connection.commit()
    connection.close()
    with pytest.raises(StoreError, match="damaged entry"):
        JobBook(store).job(job_id)
    with pytest.raises(StoreError, match="damaged entry"):
        JobBook(store).jobs()
