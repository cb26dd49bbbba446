"""The run store keeps what it was given, and says what it cannot keep."""

from dataclasses import asdict
from typing import get_args

import pytest

from emberbed.records import decode_record
from emberbed.store import schema
from emberbed.store.faults import StoreError
from emberbed.store.runs import Gap, RunEnd, RunEvent
from emberbed_fw import record as layout
from emberbed_fw.units import NO_READING_CDEG
from tests.host.store.synthetic_run import drawn_record, facts, store_run
from tests.host.store.tables import raw


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
