"""What `emberbed doctor` says of a good bench and of a bad one, each thing with its mend."""

import json
import shutil
import sqlite3
import sys
from types import SimpleNamespace

import pytest

from emberbed.doctor import attached, computer
from emberbed.link import discovery, last_port
from emberbed.store import schema
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import drawn_record, store_run
from tests.support.command import finish

NOBODY_HERE = "socket://127.0.0.1:9"  # the discard port: nothing listens there


@pytest.fixture
def store(tmp_path):
    path = tmp_path / "runs.sqlite"
    with RunStore.open(path) as opened:
        store_run(opened, [drawn_record(tick) for tick in range(50)])
    return path


def asked(*words, store, folder):
    own = {"EMBERBED_MATERIALS": str(folder / "m.toml"), "EMBERBED_STATE": str(folder)}
    kept = {"EMBERBED_CALIBRATIONS": str(folder / "c.jsonl")}
    done = finish("doctor", "--json", "--store", store, *words, **own, **kept)
    return done, {row["what"]: row for row in json.loads(done.output)}


def test_a_good_bench_with_the_virtual_device(store, tmp_path):
    done, rows = asked("--device", "virtual", store=store, folder=tmp_path)
    assert done.exit_code == 0 and not any(row["wrong"] for row in rows.values())
    assert "whole, 1 run," in rows["run store"]["told"]
    assert sqlite3.sqlite_version in rows["versions"]["told"]
    assert "sensors top_near_chip, edge" in rows["device"]["told"]


def test_what_is_wrong_is_told_with_its_mend_and_ends_with_1(tmp_path):
    store = tmp_path / "runs.sqlite"
    store.write_text("no store at all, but long enough to be read as one" * 40)
    (tmp_path / "m.toml").write_text("[alloys\n")
    (tmp_path / "c.jsonl").write_text("{}\n")
    done, rows = asked("--device", NOBODY_HERE, store=store, folder=tmp_path)
    assert done.exit_code == 1
    wrong = {name for name, row in rows.items() if row["wrong"]}
    assert wrong == {"run store", "own materials", "calibrations", "device"}
    assert "c.jsonl:1 is no calibration" in rows["calibrations"]["mend"]
    assert NOBODY_HERE in rows["device"]["told"]
    assert store.read_text().startswith("no store at all"), "nothing is changed"


def test_nothing_is_made_where_nothing_is(tmp_path):
    path = tmp_path / "none" / "runs.sqlite"
    row = computer.store(path)
    assert "the first run makes it" in row.told and not row.is_wrong
    assert not path.parent.exists()


def test_a_store_of_a_newer_program_and_one_of_another(tmp_path, store):
    with sqlite3.connect(store) as database:
        database.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    assert "of a newer emberbed" in computer.store(store).told
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as database:
        database.execute("CREATE TABLE pots (id)")
    assert "a file of another program" in computer.store(other).told


def test_a_damaged_store_is_seen(store):
    octets = bytearray(store.read_bytes())
    octets[4096:8192] = bytes(4096)  # the second page
    store.write_bytes(octets)
    assert computer.store(store).is_wrong


def test_a_full_disk_is_told_in_hours_of_recording(monkeypatch, tmp_path):
    room = computer.BASE_BYTES + 3 * computer.TICK_BYTES * computer.HOUR_TICKS
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: SimpleNamespace(free=room))
    row = computer.disk(tmp_path / "runs.sqlite")
    assert row.is_wrong and "room for 3 h of recording" in row.told


@pytest.mark.skipif(sys.platform != "linux", reason="the mend is for Linux")
def test_a_port_that_one_may_not_open_has_its_mend(monkeypatch, tmp_path):
    monkeypatch.setenv(last_port.VARIABLE, str(tmp_path))
    shut = discovery.Found("/dev/ttyACM0", "", None, "You may not open /dev/ttyACM0")
    monkeypatch.setattr(discovery, "find", lambda: [shut])
    port, device = attached.rows("auto")
    assert "dialout" in port.mend
    assert not device.is_wrong, "a bench without a device is no fault"
