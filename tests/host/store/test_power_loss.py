"""What was acknowledged is there after any loss of power; with less syncing the sweep finds losses.

A process that is killed loses nothing at any setting, so only lost writes can tell a safe setting
from an unsafe one. Each setting runs through the store's own code on the same disk.
"""

import pytest

from emberbed.store.run_store import RunStore
from tests.host.store.power_loss import NORMAL, OFF, sweep, write_run
from tests.host.store.synthetic_run import drawn_record, facts
from tests.support.recording_disk import Disk, Operation, by_chance, everything, nothing, recording

DISKS = [nothing, everything, by_chance(1)]


def test_no_acknowledged_record_is_lost_at_any_operation(tmp_path):
    written = write_run(tmp_path)
    kinds = {(one.kind, one.name.rpartition("-")[2]) for one in written.disk.operations}
    assert {
        ("write", "wal"),
        ("sync", "wal"),
        ("write", "runs.sqlite"),
        ("sync", "runs.sqlite"),
    } <= (kinds), "the log must be written, synced, and written back"
    tried, faults = sweep(written, DISKS)
    assert tried > 600
    assert faults == []


@pytest.mark.parametrize("synchronous", [NORMAL, OFF])
def test_the_sweep_finds_a_store_that_syncs_less(tmp_path, synchronous):
    written = write_run(tmp_path, synchronous)
    _tried, faults = sweep(written, [nothing], step=5)
    assert any("records acknowledged" in one or "the run is lost" in one for one in faults)


def test_without_syncing_not_even_the_file_is_safe(tmp_path):
    _tried, faults = sweep(write_run(tmp_path, OFF), [by_chance(seed) for seed in range(3)], step=3)
    assert any("not readable" in fault or "damaged" in fault for fault in faults)


def test_an_acknowledged_block_was_synced_before(tmp_path):
    with recording() as disk, RunStore.open(tmp_path / "runs.sqlite") as store:
        run_id = store.begin_run(facts())
        for tick in range(5):
            store.append(run_id, [drawn_record(tick)])
            assert disk.operations[-1].kind == "sync"


# the disk itself


def test_the_disk_forgets_what_was_not_synced():
    disk = Disk([
        Operation("write", "a", 0, b"old!"), Operation("sync", "a"),
        Operation("write", "a", 2, b"new"), Operation("truncate", "a", 4),
        Operation("write", "b", 0, b"b"), Operation("sync", "b"), Operation("delete", "b"),
        Operation("write", "c", 1, b"c"),
    ])  # fmt: skip
    assert disk.after(8, nothing) == {"a": b"old!"}
    assert disk.after(8, everything) == {"a": b"olne", "c": b"\0c"}
    assert disk.after(6, nothing) == {"a": b"old!", "b": b"b"}
    assert disk.after(1, nothing) == {}
    ways = {tuple(sorted(disk.after(8, by_chance(seed)).items())) for seed in range(60)}
    assert len(ways) > 5
