"""Jobs in bundles that cannot be: one sentence, and nothing is taken in."""

import hashlib
import json
import zipfile

import pytest

from emberbed.bundle import layout
from emberbed.bundle.write import write_bundle
from emberbed.jobs.book import JobBook
from emberbed.store.run_store import RunStore
from tests.host.bundle.carried_jobs import open_in, packed
from tests.host.bundle.test_hostile_bundles import entries_of, refused, written

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
