"""A bundle brings its run's job: what stands, no money, no hidden data; bad ones are refused."""

import hashlib
import json
import shutil
import zipfile
from pathlib import Path

import pytest
from PIL import Image

from emberbed.bundle import layout, removal
from emberbed.bundle.layout import BundleError
from emberbed.bundle.read import read_bundle
from emberbed.bundle.take_in import take_in
from emberbed.bundle.take_in_job import job_words, take_in_job
from emberbed.bundle.write import write_bundle
from emberbed.bundle.write_job import job_for
from emberbed.jobs import model
from emberbed.jobs.book import JobBook
from emberbed.jobs.checklists import checklists
from emberbed.jobs.kept_files import path_of
from emberbed.store.run_store import RunStore
from tests.host.bundle.test_hostile_bundles import entries_of, refused, written
from tests.support import bench_jobs

GPS_IFD, LATITUDE, MAKER = 0x8825, 2, 0x010F  # CIPA DC-008 (Exif 2.32) tables 3 and 4, from memory


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """Return the folder of a store with the jobs of a bench; the first one has all that one can."""
    folder = tmp_path_factory.mktemp("filled")
    with RunStore.open(folder / "bench" / "runs.sqlite") as store:
        bench_jobs.fill(store, folder)
        book = JobBook(store)
        book.change(1, found="a cracked joint")
        exif = Image.Exif()
        exif[MAKER] = "Some camera"
        exif.get_ifd(GPS_IFD)[LATITUDE] = (51.0, 3.0, 2.0)
        Image.new("RGB", (2400, 1200), "#204030").save(folder / "place.jpg", exif=exif)
        book.add_photo(1, folder / "place.jpg", model.OTHER, "the underside")
    return folder / "bench"


@pytest.fixture
def bench(filled, tmp_path):
    shutil.copytree(filled, tmp_path / "bench")
    with RunStore.open(tmp_path / "bench" / "runs.sqlite") as store:
        yield store


@pytest.fixture
def guest(tmp_path):
    """Return another bench with a job and a run of its own."""
    with RunStore.open(tmp_path / "guest" / "runs.sqlite") as store:
        JobBook(store).new("Weather logger")
        yield store


def packed(store, path, run_id=1):
    write_bundle(store, store.run(run_id), path, job_for(store, run_id))
    return path


def open_in(store, path):
    found = read_bundle(path)
    run_id, _was_there = take_in(store, found, path)
    return take_in_job(store.database, run_id, found.job)


def job_text(path):
    return json.loads(entries_of(path)[layout.JOB])


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


# what is refused


@pytest.fixture(scope="module")
def whole(filled, tmp_path_factory):
    """Return the entries of a bundle with a job."""
    with RunStore.open(filled / "runs.sqlite") as store:
        return entries_of(packed(store, tmp_path_factory.mktemp("whole") / "whole.zip"))


@pytest.fixture
def changed(whole, tmp_path):
    """Return a function that writes the bundle with a change made in its job."""

    def change(make=lambda told: None, entries=(), without=()):
        told = json.loads(whole[layout.JOB])
        made = make(told)
        content = {**whole, layout.JOB: json.dumps(told if made is None else made).encode()}
        content = {n: c for n, c in {**content, **dict(entries)}.items() if n not in without}
        return written(tmp_path / "changed.zip", content)

    return change


def said_of(subject, value):
    def change(told):
        told["entries"] = [one for one in told["entries"] if one[1] != subject]
        told["entries"].append(["2026-03-01T10:00:00.000+00:00", subject, value])

    return change


def inside(subject, **values):
    def change(told):
        next(one[2] for one in told["entries"] if one[1] == subject).update(values)

    return change


def refused_job(path, store):
    jobs = len(JobBook(store).jobs())
    refused(path, store, "is no bundle of this version")
    assert len(JobBook(store).jobs()) == jobs
    assert not list(store.path.parent.glob("bench-files/*"))


def test_the_whole_one_is_taken(changed, guest):
    assert open_in(guest, changed()).opened


LOG = {"file": "0" * 64 + ".csv", "name": "x", "rows": 1, "seconds": 1.0, "columns": []}


@pytest.mark.parametrize(
    "change",
    [
        said_of("board", ""), said_of("board", "x" * 500), said_of("board", 7),
        said_of("board", None), said_of("serial", "\x1b[2J"), said_of("fault", "right\u202eleft"),
        said_of("minutes", -1), said_of("minutes", 1.5), said_of("minutes", True),
        said_of("minutes", "25"), said_of("minutes", 10**9), said_of("worth", "5"),
        said_of("run/1", True), said_of("nonsense", 1), said_of("photo/0", {}),
        said_of("photo/1/2", {}), said_of("part/1\n", {}), said_of("check/before/../x", {}),
        said_of("check/mine/clean", {"answer": "yes", "note": ""}),
        said_of("check/after/clean", {"answer": "perhaps", "note": ""}),
        said_of("check/after/clean", {"answer": "yes"}),
        said_of("closed", {"outcome": "burnt", "note": ""}), said_of("closed", "works"),
        inside("part/1", count=0), inside("part/1", count=10**7), inside("part/1", each="5"),
        inside("part/1", more=1), inside("photo/1", kind="holiday"),
        inside("photo/1", file="../../x.jpg"), inside("photo/1", file="0" * 64 + ".jpg"),
        inside("photo/1", file="0" * 64 + ".png"), inside("photo/1", name="a\x07"),
        inside("test/1", passed=1), inside("test/1", kind="smoke"), inside("test/1", log=LOG),
        inside("test/1", log=None), lambda told: told.pop("job"), lambda told: told.update(job=0),
        lambda told: told.update(opened_utc="yesterday"),
        lambda told: told.update(opened_utc="2026-03-01T10:00:00.000+01:00"),
        lambda told: told.update(opened_utc="2026-03-01 10:00:00+00:00"),
        lambda told: told.update(entries=[]), lambda told: told.update(entries={}),
        lambda told: told["entries"].append(told["entries"][0]),
        lambda told: told["entries"][0].append(1),
        lambda told: told["entries"].extend([told["entries"][0]] * layout.MOST_JOB_ENTRIES),
        lambda told: told["entries"].extend(
            ["2026-03-01T10:00:00.000+00:00", f"part/{n}", {"name": "x", "count": 1, "each": None}]
            for n in range(2, 203)
        ),
        lambda told: [], lambda told: "x",
    ],
)  # fmt: skip
def test_odd_jobs_are_refused(changed, guest, change):
    refused_job(changed(change), guest)


def test_a_number_that_is_none_is_refused(changed, guest):
    log = {**LOG, "columns": [{"name": "c", "peak_c": float("nan"), "mean_c": 1, "readings": 1}]}
    refused_job(changed(inside("test/1", log=log)), guest)


def test_files_that_do_not_fit_the_job_are_refused(whole, changed, guest):
    photo = next(name for name in whole if name.endswith(".jpg"))
    octets = whole[photo]
    refused_job(changed(without=[photo]), guest)
    refused_job(changed(without=[layout.JOB]), guest)
    refused_job(changed(entries={photo: octets[:-200]}), guest)
    more = f"{layout.JOB_FOLDER}{hashlib.sha256(b'x').hexdigest()}.csv"
    refused_job(changed(entries={more: b"x"}), guest)
    for name in ("job/x.jpg", "job/../x.jpg", f"job/{'0' * 64}.exe", "jobs.json", "job/"):
        refused_job(changed(entries={name: b"x"}), guest)


def test_a_photograph_that_is_none_is_refused(changed, guest):
    script = b"\xff\xd8\xff<script>alert(1)</script>" * 50
    name = f"{hashlib.sha256(script).hexdigest()}.jpg"
    told = {"kind": "other", "note": "", "file": name, "name": "x.jpg"}
    path = changed(said_of("photo/9", told), {f"{layout.JOB_FOLDER}{name}": script})
    refused_job(path, guest)


@pytest.mark.parametrize("most", ["MOST_JOB_BYTES", "MOST_JOB_TEXT_BYTES"])
def test_a_job_larger_than_any_is_refused(changed, guest, monkeypatch, most):
    path = changed()
    monkeypatch.setattr(layout, most, 900)
    refused_job(path, guest)


def test_a_bundle_made_without_a_job_is_as_before(bench, tmp_path):
    write_bundle(bench, bench.run(1), tmp_path / "a.zip")
    names = zipfile.ZipFile(tmp_path / "a.zip").namelist()
    assert sorted(names) == sorted(layout.MOST_BYTES)
