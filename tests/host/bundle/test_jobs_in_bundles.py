"""A bundle brings its run's job: what stands, no money, no hidden data."""

import hashlib
from pathlib import Path

import pytest
from PIL import Image

from emberbed.bundle import layout, removal
from emberbed.bundle.layout import BundleError
from emberbed.bundle.read import read_bundle
from emberbed.bundle.take_in import take_in
from emberbed.bundle.take_in_job import job_words
from emberbed.bundle.write import write_bundle
from emberbed.jobs import model
from emberbed.jobs.book import JobBook
from emberbed.jobs.checklists import checklists
from emberbed.jobs.kept_files import path_of
from emberbed.store.run_store import RunStore
from tests.host.bundle.carried_jobs import MAKER, open_in, packed
from tests.host.bundle.test_hostile_bundles import entries_of
from tests.support import bench_jobs


def test_a_job_goes_along_whole_but_for_money(bench, guest, tmp_path):
    taken = open_in(guest, packed(bench, tmp_path / "a.zip"))
    here, there = JobBook(bench).job(1), JobBook(guest).job(taken.number)
    assert (taken.number, taken.opened, taken.left_out) == (2, True, False)
    told = ("board", "serial", "fault", "found", "minutes", "outcome", "answers")
    for name in (*told, "opened_utc", "closed_utc"):
        assert getattr(there, name) == getattr(here, name) != "", name
    assert len(there.answers) == sum(map(len, (c.items for c in checklists(tmp_path).values())))
    assert there.runs == (1,) and guest.audit(1) == []
    assert [(p.name, p.count, p.each) for p in there.parts] == [("ball kit", 1, None)]
    assert here.parts[0].each is not None and here.worth is not None and there.worth is None
    assert [(p.kind, p.name, p.note) for p in there.photos] == [
        (p.kind, p.name, p.note) for p in here.photos
    ]
    assert [test.log.columns for test in there.tests] == [test.log.columns for test in here.tests]
    log = path_of(guest.database, there.tests[0].log.file)
    assert log.read_text(encoding="utf-8") == bench_jobs.LOG


def test_nothing_hidden_in_a_photograph_goes_along(bench, guest, tmp_path):
    original = path_of(bench.database, JobBook(bench).job(1).photo(model.OTHER).file)
    with Image.open(original) as photo:
        assert photo.getexif()[MAKER] == "Some camera"
    path = packed(bench, tmp_path / "a.zip")
    open_in(guest, path)
    photos = [n for n in entries_of(path) if n.endswith(".jpg")]
    assert len(photos) == 3
    for name in photos:
        octets = entries_of(path)[name]
        assert Path(name).stem == hashlib.sha256(octets).hexdigest()
        assert b"Exif" not in octets and b"camera" not in octets
    kept = path_of(guest.database, JobBook(guest).job(2).photo(model.OTHER).file)
    with Image.open(kept) as photo:
        assert photo.size == (900, 450) and not photo.getexif()


def test_no_amount_of_money_is_in_a_bundle(bench, tmp_path):
    text = entries_of(packed(bench, tmp_path / "a.zip"))[layout.JOB].decode()
    assert "6.40" not in text and "120" not in text.replace("00:00", "")


def test_a_job_comes_once_and_the_newer_word_counts(bench, guest, tmp_path):
    first = packed(bench, tmp_path / "a.zip")
    number = open_in(guest, first).number
    again = open_in(guest, first)
    assert (again.number, again.opened, again.entries) == (number, False, 0)
    assert "nothing of it is new" in job_words(again)
    home, away = JobBook(bench), JobBook(guest)
    away.change(number, fault="told later, here")
    home.change(1, found="told later, at home")
    away.add_part(number, "cable", 2)
    home.add_part(1, "battery", 1)
    away.take_back(number, "photo", 1)
    taken = open_in(guest, packed(bench, tmp_path / "b.zip"))
    job = away.job(number)
    assert (job.fault, job.found) == ("told later, here", "told later, at home")
    assert [part.name for part in job.parts] == ["ball kit", "cable", "battery"]
    assert len(job.photos) == 2, "what was taken back stays so"
    assert (taken.entries, job.runs) == (2, (1,))
    back = open_in(bench, packed(guest, tmp_path / "c.zip"))
    assert (back.number, home.job(1).fault) == (1, "told later, here")
    assert [part.name for part in home.job(1).parts] == ["ball kit", "battery", "cable"]


def test_two_runs_of_a_job_are_two_runs_of_one_job(bench, guest, tmp_path):
    job = next(one for one in JobBook(bench).jobs() if len(one.runs) == 2)
    numbers = {
        open_in(guest, packed(bench, tmp_path / f"{run_id}.zip", run_id)).number
        for run_id in job.runs
    }
    assert len(numbers) == 1 and len(JobBook(guest).job(numbers.pop()).runs) == 2


def test_a_run_that_belongs_to_another_job_stays_there(bench, guest, tmp_path):
    path = packed(bench, tmp_path / "a.zip")
    run_id, _was_there = take_in(guest, read_bundle(path), path)
    JobBook(guest).join_run(1, run_id)
    taken = open_in(guest, path)
    assert (taken.number, taken.left_out, len(JobBook(guest).jobs())) == (1, True, 1)
    assert "left out" in job_words(taken)


def test_a_copy_that_is_lost_does_not_go_along(bench, guest, tmp_path):
    job = JobBook(bench).job(1)
    path_of(bench.database, job.photo(model.BEFORE).file).unlink()
    path_of(bench.database, job.tests[0].log.file).write_text("changed")
    there = JobBook(guest).job(open_in(guest, packed(bench, tmp_path / "a.zip")).number)
    assert [photo.kind for photo in there.photos] == [model.AFTER, model.OTHER]
    assert there.tests[0].log is None and there.tests[0].passed


def test_a_job_that_is_too_large_is_told(bench, tmp_path, monkeypatch):
    monkeypatch.setattr(layout, "MOST_JOB_BYTES", 20_000)
    with pytest.raises(BundleError, match="--without-job"):
        packed(bench, tmp_path / "a.zip")
    assert not (tmp_path / "a.zip").exists()
    write_bundle(bench, bench.run(1), tmp_path / "b.zip")
    assert read_bundle(tmp_path / "b.zip").job is None


def test_an_archived_run_takes_its_job_along(bench, tmp_path):
    with RunStore.open(tmp_path / "old" / "runs.sqlite") as old:
        removal.archive(bench, [bench.run(1)], old)
        there = JobBook(old).job("last")
        assert (there.serial, there.runs, len(there.photos)) == ("LP-0412", (1,), 3)
    assert JobBook(bench).job(1).runs == () and JobBook(bench).job(1).worth is not None
