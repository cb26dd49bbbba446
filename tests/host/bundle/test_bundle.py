"""A bundle carries a run whole."""

import io
import zipfile

import pytest

from emberbed.bundle import layout
from emberbed.bundle.layout import BundleError
from emberbed.bundle.read import read_bundle
from emberbed.bundle.take_in import take_in
from emberbed.bundle.write import write_bundle
from emberbed.replay.play import CPYTHON, replay_run
from emberbed.store.export import write_csv
from emberbed.store.run_store import RunStore
from tests.host.bundle.carried import OTHERS, plain
from tests.host.replay.recorded import (
    recorded,
)
from tests.host.store.synthetic_run import drawn_record, store_run


def csv_of(store, run_id):
    stream = io.StringIO(newline="")
    write_csv(store, run_id, stream)
    return stream.getvalue()


def test_a_run_is_the_same_in_another_store(home, away, bundle):
    here = home.run("last")
    run_id, was_there = take_in(away, read_bundle(bundle), bundle)
    there = away.run(run_id)
    assert not was_there and run_id != here.id
    assert plain(there) == plain(here) and there.bundled_run == here.id
    assert list(away.raw_records(run_id)) == list(home.raw_records(here.id))
    for part in ("events", "snapshots", "notes"):
        assert getattr(away, part)(run_id) == getattr(home, part)(here.id) != []
    assert away.audit(run_id) == []
    assert csv_of(away, run_id) == csv_of(home, here.id)
    (one,) = replay_run(away, there, (CPYTHON,))
    assert one.differences == () and one.equal_ticks == len(recorded())


def test_it_is_taken_in_once(away, bundle):
    first, _ = take_in(away, read_bundle(bundle), bundle)
    assert take_in(away, read_bundle(bundle), bundle) == (first, True)
    assert len(away.runs()) == OTHERS + 1


def test_a_bundle_of_a_bundle_keeps_the_first_number(home, away, bundle, tmp_path):
    run_id, _ = take_in(away, read_bundle(bundle), bundle)
    away.add_note(run_id, "Looked at elsewhere.")
    again = tmp_path / "again.zip"
    write_bundle(away, away.run(run_id), again)
    with RunStore.open(tmp_path / "third.sqlite") as third:
        number, _ = take_in(third, read_bundle(again), again)
        assert third.run(number).bundled_run == home.run("last").id
        assert third.audit(number) == [] and len(third.notes(number)) == 2


def test_a_bundle_holds_no_program(bundle):
    assert sorted(zipfile.ZipFile(bundle).namelist()) == sorted(layout.MOST_BYTES)
    content = b"".join(zipfile.ZipFile(bundle).read(name) for name in layout.MOST_BYTES)
    assert b"def sample_to_drive" not in content


def test_an_open_run_and_a_damaged_one_are_not_bundled(home, tmp_path):
    run_id = store_run(home, [drawn_record(tick) for tick in range(20)], end=None)
    with pytest.raises(BundleError, match="still being recorded"):
        write_bundle(home, home.run(run_id), tmp_path / "open.zip")
    home.database.all("UPDATE tick SET record = 'none' WHERE tick = 3")
    home.end_run(run_id, "finished", 0)
    with pytest.raises(BundleError, match="runs audit"):
        write_bundle(home, home.run(run_id), tmp_path / "damaged.zip")
    assert not list(tmp_path.glob("*.zip"))
