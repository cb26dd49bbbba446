"""Packed blocks come out as they went in; what is no packed stretch is refused within limits."""

import random
import zlib
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.store import stretches, writing
from emberbed.store.run_store import RunStore
from emberbed.store.stretches import MOST_BYTES, PackedBlock, pack, unpack
from tests.host.store.synthetic_run import drawn_record, facts, store_run

RECORD = st.binary(min_size=1, max_size=60)
BLOCKS = st.lists(
    st.builds(PackedBlock, st.booleans(), st.lists(RECORD, min_size=1, max_size=10).map(tuple)),
    min_size=1,
    max_size=30,
)


@given(BLOCKS)
def test_what_goes_in_comes_out(blocks):
    assert unpack(pack(blocks)) == blocks


@given(BLOCKS, st.data())
@settings(max_examples=200)
def test_damaged_bytes_never_raise_anything_else(blocks, data):
    packed = bytearray(pack(blocks))
    at = data.draw(st.integers(0, len(packed) - 1))
    packed[at] ^= data.draw(st.integers(1, 255))
    with suppress(ValueError):
        unpack(bytes(packed))


@given(st.binary(max_size=200))
def test_foreign_bytes_are_refused(octets):
    for packed in (octets, zlib.compress(octets)):
        with suppress(ValueError):
            unpack(packed)


def test_no_stretch_may_fill_the_memory():
    bomb = zlib.compress(bytes(64 * MOST_BYTES), 9)
    with pytest.raises(ValueError, match="larger"):
        unpack(bomb)


def test_the_newest_minute_lies_in_rows_and_the_rest_packed(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        run_id = store.begin_run(facts())
        records = [drawn_record(tick) for tick in range(2 * stretches.STRETCH_TICKS + 50)]
        for first in range(0, len(records), 10):
            store.append(run_id, records[first : first + 10])
            assert store.run(run_id).ticks == first + len(records[first : first + 10])
        count = store.database.all("SELECT count(*) FROM tick")[0][0]
        assert count == 50
        assert list(store.raw_records(run_id)) == records
        assert list(store.raw_records(run_id, 599)) == records[599:]
        assert store.gaps(run_id) == [] and store.audit(run_id) == []
        assert store.append(run_id, records[590:600]) == 0  # known, though packed
        store.end_run(run_id, "finished", 0)
        assert store.database.all("SELECT count(*) FROM tick")[0][0] == 0
        assert list(store.raw_records(run_id)) == records


def test_records_that_come_late_find_their_place(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "STRETCH_TICKS", 40)
    chance = random.Random(3)
    ticks = [tick for tick in range(300) if tick % 50 != 7]
    blocks = [ticks[at : at + 5] for at in range(0, len(ticks), 5)]
    chance.shuffle(blocks)
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        run_id = store.begin_run(facts())
        for block in blocks:
            store.append(run_id, [drawn_record(tick) for tick in block])
        wanted = [drawn_record(tick) for tick in ticks]
        assert list(store.raw_records(run_id)) == wanted
        gaps = [gap.first_missing for gap in store.gaps(run_id)]
        assert gaps == list(range(7, 300, 50))
        assert store.audit(run_id) == []
        store.end_run(run_id, "finished", 0)
        assert list(store.raw_records(run_id)) == wanted and store.audit(run_id) == []


def test_packed_and_unpacked_runs_have_the_same_head(tmp_path, monkeypatch):
    """The chain runs over the records, however they lie."""
    heads = []
    for number, length in enumerate((10, 10_000)):
        monkeypatch.setattr(writing, "STRETCH_TICKS", length)
        with RunStore.open(tmp_path / f"{number}.sqlite") as store:
            records = [drawn_record(tick) for tick in range(100)]
            run_id = store_run(
                store, records, end=None, started_utc="2026-01-01T00:00:00.000+00:00"
            )
            heads.append(store.run(run_id).head_sha256)
    assert heads[0] == heads[1]
