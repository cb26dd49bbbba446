"""A run is refused where the longest that it may take would not fit onto the store's disk."""

import shutil
from collections import namedtuple

import pytest

from emberbed.bench import disk_room
from emberbed.bench.disk_room import BASE_BYTES, TICK_BYTES, check_room
from emberbed.bench.prepare import NotReady
from emberbed.profiles.compile import decode_plan
from tests.host.replay.recorded import PLAN

Usage = namedtuple("Usage", "total used free")
LONGEST = decode_plan(PLAN).header["longest_run_ticks"]
NEEDED = BASE_BYTES + LONGEST * TICK_BYTES


@pytest.mark.parametrize(("free", "fits"), [(NEEDED, True), (NEEDED - 1, False), (0, False)])
def test_the_room_must_hold_the_longest_run(tmp_path, monkeypatch, free, fits):
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: Usage(10**12, 0, free))
    if fits:
        check_room(tmp_path / "runs.sqlite", PLAN)
        return
    with pytest.raises(NotReady, match=r"--store") as refusal:
        check_room(tmp_path / "runs.sqlite", PLAN)
    (sentence,) = refusal.value.sentences
    assert f"{free // disk_room.MIB} MiB free" in sentence


def test_what_a_tick_is_counted_with_is_more_than_it_takes(tmp_path):
    """Packed by the store itself, with the real firmware's records."""
    from tests.host.replay.recorded import open_store, recorded, store_records

    records = recorded()
    with open_store(tmp_path) as store:
        run_id = store_records(store, records)
        store.end_run(run_id, "finished", 0)
        packed = store.database.all("SELECT sum(length(packed)) FROM stretch")[0][0]
    assert packed / len(records) < TICK_BYTES
