"""The audit finds each kind of change, and only changes. Tampering goes through plain SQLite."""

import sqlite3
import struct
from binascii import crc32
from hashlib import sha256

import pytest

from emberbed.store import chain
from emberbed.store.faults import StoreError
from emberbed.store.processes import own_stamp
from emberbed.store.run_store import RunStore
from emberbed.store.stretches import PackedBlock, pack, unpack
from tests.host.store.synthetic_run import drawn_record, facts, store_run

OPEN = 3  # the number of the run that is still being recorded
TRIP_COUNTS = bytes([0, 2, *[0] * 18])  # as ARM tells them, one for each row of trip_codes


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        run_id = opened.begin_run(facts(linked_to=1))  # to itself: there is no other run yet
        opened.note_trip_counts(run_id, TRIP_COUNTS)
        for first in range(0, 50, 10):
            opened.append(run_id, [drawn_record(first + more) for more in range(10)])
        opened.add_event(run_id, 12, "prompt", "Apply flux")
        opened.add_snapshot(run_id, 29, b"\1\0\0\0")
        opened.end_run(run_id, "tripped", 3, trip=1, limits_exceeded=2)
        opened.add_note(run_id, "The edge sensor was loose.")
        opened.add_note(run_id, "Mended since.")
        store_run(opened, [drawn_record(tick) for tick in range(15)])
        open_run = opened.begin_run(facts())  # an ended run lies packed, an open one in rows
        for first in range(0, 50, 10):
            opened.append(open_run, [drawn_record(first + more) for more in range(10)])
        assert (run_id, open_run) == (1, OPEN)
        yield opened


def tamper(store, *statements):
    connection = sqlite3.connect(store.path)
    connection.execute("PRAGMA foreign_keys = OFF")
    for statement in statements:
        connection.execute(*([statement] if isinstance(statement, str) else statement))
    connection.commit()
    connection.close()


def changed(record, at):
    return record[:at] + bytes([record[at] ^ 1]) + record[at + 1 :]


def test_an_untouched_run_has_no_findings(store):
    assert store.audit(1) == store.audit(2) == store.audit(OPEN) == []


def test_the_chain_is_the_documented_one(store):
    # recomputed here with hashlib alone, from the formula in contracts.md (Store) and chain.py
    def prefixed(octets):
        return struct.pack("<I", len(octets)) + octets

    def cell(value):
        if value is None:
            return b"n" + prefixed(b"")
        if isinstance(value, int):
            return b"i" + prefixed(str(value).encode())
        return (b"b" + prefixed(value)) if isinstance(value, bytes) else (
            b"t" + prefixed(value.encode()))  # fmt: skip

    run = store.run(1)
    header = (run.started_utc, run.profile_name, run.profile_toml, run.plan, run.settings,
              run.session, run.device, run.engine, run.firmware_version, run.firmware_digest,
              run.host_version, run.seed, run.speed, int(run.simulated),
              "linked_to", run.linked_to)  # fmt: skip
    head = sha256(b"".join(map(cell, header))).digest()
    records = list(store.raw_records(1))
    for first in range(0, 50, 10):
        block = b"".join(prefixed(record) for record in records[first : first + 10])
        head = sha256(head + block).digest()
    closing = (run.state, run.exit_code, run.ended_utc, run.trip, run.limits_exceeded,
               "trip_counts", run.trip_counts, "closing_form", 1, run.last_stored_utc,
               *own_stamp())  # fmt: skip
    event = (1, 12, "prompt", "Apply flux")
    snapshot = ("snapshot", 29, b"\1\0\0\0")
    rows = [b"".join(map(cell, row)) for row in (closing, event, snapshot)]
    assert run.head_sha256 == sha256(head + b"".join(map(prefixed, rows))).hexdigest()


def test_every_byte_of_a_record_counts(store):
    record = drawn_record(23)
    for at in range(len(record)):
        tamper(store, ("UPDATE tick SET record = ? WHERE run_id = 3 AND tick = 23",
                       (changed(record, at),)))  # fmt: skip
        assert any("20 to 29" in finding for finding in store.audit(OPEN)), at
    assert store.audit(2) == []


def packed_with(store, number, octets):
    """Return the stretch of run 1 with another record in place of one."""
    (row,) = store.database.all("SELECT packed FROM stretch WHERE run_id = 1")
    blocks = [list(block.records) for block in unpack(row["packed"])]
    blocks[number // 10][number % 10] = octets
    return pack([PackedBlock(False, tuple(records)) for records in blocks])


def test_every_byte_of_a_packed_record_counts(store):
    record = drawn_record(23)
    for at in range(len(record)):
        packed = packed_with(store, 23, changed(record, at))
        tamper(store, ("UPDATE stretch SET packed = ?, packed_crc32 = ? WHERE run_id = 1",
                       (packed, crc32(packed))))  # fmt: skip
        (finding,) = store.audit(1)
        assert "ticks 0 to 49" in finding
    assert store.audit(2) == []


SWAP = (
    "UPDATE tick SET tick = 999 WHERE run_id = 3 AND tick = 3",
    "UPDATE tick SET tick = 3, block = 1 WHERE run_id = 3 AND tick = 14",
    "UPDATE tick SET tick = 14, block = 2 WHERE run_id = 3 AND tick = 999",
)


@pytest.mark.parametrize(
    ("statements", "word"),
    [
        (("DELETE FROM tick WHERE run_id = 3 AND tick = 23",), "1 of 10 records are missing"),
        (("UPDATE tick SET channel0_cdeg = 99 WHERE run_id = 3 AND tick = 9",), "channel0_cdeg"),
        (("UPDATE tick SET state = 8 WHERE run_id = 3 AND tick = 9",), "column state"),
        (("UPDATE tick SET record = 'text' WHERE run_id = 3 AND tick = 9",), "not a whole record"),
        (SWAP, "ticks 0 to 9"),
        (("INSERT INTO tick SELECT 3, 77, 5, record, state, stage, setpoint_cdeg, demand0_q15,"
          " energy_j, trip, 0, 0, 0, 0, 0, 0, 0, 0 FROM tick WHERE run_id = 3 AND tick = 1",),
         "1 more records"),
        (("UPDATE block SET sha256 = zeroblob(32) WHERE run_id = 3 AND number = 3",), "20 to 29"),
        (("UPDATE block SET rebuilt = 1 WHERE run_id = 3 AND number = 3",), "20 to 29"),
        (("UPDATE block SET rebuilt = 2 WHERE run_id = 3 AND number = 3",), "damaged"),
        (("DELETE FROM tick WHERE run_id = 3 AND block = 2",
          "DELETE FROM block WHERE run_id = 3 AND number = 2"), "Blocks 2 to 2"),
        (("DELETE FROM tick WHERE run_id = 3 AND block = 5",
          "DELETE FROM block WHERE run_id = 3 AND number >= 5"), "cut off"),
    ],
)  # fmt: skip
def test_each_kind_of_tampering_in_rows_is_found(store, statements, word):
    tamper(store, *statements)
    findings = store.audit(OPEN)
    assert any(word in finding for finding in findings), findings
    assert store.audit(1) == [], "the neighbour is untouched"


@pytest.mark.parametrize(
    ("statements", "word"),
    [
        (("UPDATE stretch SET sha256 = zeroblob(32) WHERE run_id = 1",), "ticks 0 to 49"),
        (("UPDATE stretch SET packed = zeroblob(32) WHERE run_id = 1",), "cannot be read"),
        (("UPDATE stretch SET packed = substr(packed, 1, length(packed) - 1) WHERE run_id = 1",),
         "cut short"),
        (("UPDATE stretch SET packed = CAST(packed || x'00' AS BLOB) WHERE run_id = 1",),
         "cannot be read"),
        (("UPDATE stretch SET packed = 'text' WHERE run_id = 1",), "damaged"),
        (("UPDATE stretch SET last_tick = 50 WHERE run_id = 1",), "different things"),
        (("UPDATE stretch SET ticks = 49 WHERE run_id = 1",), "different things"),
        (("UPDATE stretch SET first_block = 2 WHERE run_id = 1",), "Blocks 1 to 1"),
        (("DELETE FROM stretch WHERE run_id = 1",), "Blocks 1 to 5"),
        (("INSERT INTO stretch SELECT 1, first_block, 4, first_tick, last_tick, ticks, sha256,"
          " packed, packed_crc32 FROM stretch WHERE run_id = 1",), "there twice"),
        (("UPDATE stretch SET packed = (SELECT packed FROM stretch WHERE run_id = 2)"
          " WHERE run_id = 1",), "a stray bit"),
        (("UPDATE stretch SET (packed, packed_crc32) = (SELECT packed, packed_crc32 FROM stretch"
          " WHERE run_id = 2) WHERE run_id = 1",), "different things"),
        # the tail: the closing block alone, and with the last records
        (("DELETE FROM block WHERE run_id = 1 AND number = 6",), "cut off"),
        (("DELETE FROM stretch WHERE run_id = 1",
          "DELETE FROM block WHERE run_id = 1 AND number >= 5"), "cut off"),
        (("DELETE FROM stretch WHERE run_id = 1", "DELETE FROM block WHERE run_id = 1"), "cut off"),
        # the head put back to the cut end, and the run opened again to hide it
        (("DELETE FROM block WHERE run_id = 1 AND number = 6",
          "UPDATE run SET head_sha256 = (SELECT sha256 FROM stretch WHERE run_id = 1)"
          " WHERE id = 1"), "not closed"),
        (("UPDATE run SET state = 'open' WHERE id = 1",), "says open"),
        (("UPDATE run SET state = 'finished', exit_code = 0 WHERE id = 1",), "verdict"),
        (("UPDATE run SET limits_exceeded = 0 WHERE id = 1",), "verdict"),
        (("UPDATE run SET trip = 0 WHERE id = 1",), "verdict"),
        (("UPDATE run SET trip_counts = zeroblob(20) WHERE id = 1",), "the trips before"),
        (("UPDATE run SET trip_counts = NULL WHERE id = 1",), "the trips before"),
        (("UPDATE run SET linked_to = NULL WHERE id = 1",), "header"),
        (("UPDATE run SET linked_to = 2 WHERE id = 1",), "header"),
        (("UPDATE event SET sentence = 'nothing' WHERE run_id = 1",), "event"),
        (("DELETE FROM event WHERE run_id = 1",), "event"),
        (("UPDATE snapshot SET numbers = x'02000000' WHERE run_id = 1",), "snapshot"),
        (("DELETE FROM snapshot WHERE run_id = 1",), "snapshot"),
        (("UPDATE run SET process_node = 'elsewhere' WHERE id = 1",), "the writer"),
        (("UPDATE run SET last_stored_utc = '2020' WHERE id = 1",), "the writer"),
        (("UPDATE run SET closing_form = NULL WHERE id = 1",), "verdict"),
        (("UPDATE note SET sentence = 'It never was.' WHERE run_id = 1 AND number = 1",), "note"),
        (("DELETE FROM note WHERE run_id = 1 AND number = 2",), "note"),
        (("UPDATE run SET bundled_run = 7 WHERE id = 1",), "where it comes from"),
        (("UPDATE run SET bundled_linked_to = 7 WHERE id = 1",), "header"),
        (("DELETE FROM note WHERE run_id = 1", "UPDATE run SET later_sha256 = x'00' WHERE id = 1"),
         "note"),
        (("UPDATE run SET profile_toml = '' WHERE id = 1",), "header"),
        (("UPDATE run SET firmware_digest = 'x' WHERE id = 1",), "header"),
        (("UPDATE run SET simulated = 0 WHERE id = 1",), "header"),
        (("UPDATE run SET started_utc = '2020' WHERE id = 1",), "header"),
    ],
)  # fmt: skip
def test_each_kind_of_tampering_is_found(store, statements, word):
    tamper(store, *statements)
    findings = store.audit(1)
    assert any(word in finding for finding in findings), findings
    assert store.audit(2) == [], "the neighbour is untouched"


def test_one_change_is_told_once(store):
    tamper(store, ("UPDATE tick SET record = ? WHERE run_id = 3 AND tick = 23",
                   (changed(drawn_record(23), 9),)))  # fmt: skip
    assert len(store.audit(OPEN)) == 1


def test_an_open_run_can_be_audited(store):
    run_id = store.begin_run(facts())
    store.append(run_id, [drawn_record(tick) for tick in range(10)])
    store.append(run_id, [drawn_record(tick) for tick in range(10, 14)])
    assert store.audit(run_id) == []
    tamper(store, f"DELETE FROM tick WHERE run_id = {run_id} AND block = 2",
           f"DELETE FROM block WHERE run_id = {run_id} AND number = 2")  # fmt: skip
    assert "cut off" in store.audit(run_id)[0]


# values that SQLite keeps under any column: of another type, or text that is no UTF-8


@pytest.mark.parametrize("column", ["first_tick", "last_tick", "sha256"])
def test_a_block_with_a_value_of_another_kind_is_a_finding(store, column):
    tamper(
        store,
        "PRAGMA ignore_check_constraints = ON",
        f"UPDATE block SET {column} = 1.5 WHERE run_id = 3 AND number = 2",
    )
    (finding,) = store.audit(OPEN)
    assert finding.startswith("The chain was changed or is damaged") and column in finding
    assert store.audit(2) == []


def test_text_that_is_no_text_is_a_finding_and_can_be_listed(store):
    tamper(store, "UPDATE run SET profile_name = CAST(x'ff41' AS TEXT) WHERE id = 1")
    assert store.runs()[0].profile_name == "\N{REPLACEMENT CHARACTER}A"
    assert any("header" in finding for finding in store.audit(1))


@pytest.mark.parametrize(
    ("statement", "read"),
    [
        ("UPDATE event SET tick = x'00' WHERE run_id = 1", lambda store: store.events(1)),
        ("UPDATE run SET trip = 'none' WHERE id = 1", lambda store: store.runs()),
        ("UPDATE run SET limits_exceeded = 0.5 WHERE id = 1", lambda store: store.run(1)),
        ("UPDATE block SET ticks = 1.5 WHERE run_id = 1", lambda store: store.audit(1)),
    ],
)
def test_a_row_with_a_value_of_another_kind_is_one_sentence(store, statement, read):
    tamper(store, statement)
    with pytest.raises(StoreError, match="runs.sqlite is damaged") as failure:
        read(store)
    assert "\n" not in str(failure.value) and "--store" in str(failure.value)


def test_a_fraction_does_not_hash_as_its_whole_part():
    assert chain.canonical([0.5]) != chain.canonical([0])
