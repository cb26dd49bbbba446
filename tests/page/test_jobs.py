"""The bench record on the page: shown whole, told there, refused in one sentence."""

import json
import sys
from io import BytesIO

import pytest
from PIL import Image

from emberbed.jobs.book import JobBook
from emberbed.jobs.kept_files import whole_path_of
from emberbed.page.security import MOST_BODY_BYTES
from emberbed.store.run_store import RunStore
from tests.page.conftest import Asking
from tests.page.test_before_heat import GPS, jpeg
from tests.page.test_sharing import TABLET, paired
from tests.support import bench_jobs


@pytest.fixture
def told(client):
    """Return a function that asks the page; it must go well."""

    def ask(path, body=None):
        status, _headers, raw = client.get(path) if body is None else client.post(path, body)
        assert status in (200, 202), raw
        return json.loads(raw)

    return ask


@pytest.fixture
def filled(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        return bench_jobs.fill(store, tmp_path)


def refused(client, path, body=None):
    status, _headers, raw = client.get(path) if body is None else client.post(path, body)
    assert status in (400, 409), (status, raw)
    (sentence,) = json.loads(raw)["sentences"]
    return sentence


def test_all_jobs_and_what_they_come_to(told, filled):
    jobs = told("/api/jobs")
    assert [job["job"] for job in jobs] == filled[::-1]
    assert (jobs[-1]["serial"], jobs[-1]["outcome_words"]) == ("LP-0412", "works")
    figures = told("/api/jobs/figures")
    assert [(row["class"], row["jobs"], row["works"]) for row in figures["rows"]] == [
        ("heavy", 3, 2), ("light", 2, 1)]  # fmt: skip
    assert figures["currency"] == "EUR"


def test_one_job_with_its_photographs(client, told, filled):
    job = told("/api/jobs/2")
    assert job["title"] == "Job 2 (Label printer, main board, serial LP-0533)"
    assert [run["run"] for run in job["runs"]] == [2, 3]
    assert [one["name"] for one in job["lists"]] == ["before", "after", "test"]
    assert "Together: 38.21 EUR" in job["costs"]
    status, headers, raw = client.get("/api/jobs/2/photo/1")
    # ISO/IEC 10918-1: start of image, first marker
    assert (status, headers["content-type"], raw[:3]) == (200, "image/jpeg", b"\xff\xd8\xff")
    assert "gone or was changed" in refused(client, "/api/jobs/2/photo/9")


def test_a_job_is_opened_changed_answered_and_closed(client, told, tmp_path):
    number = told("/api/jobs/new", {"board": "Weather logger", "fault": "no radio"})["job"]
    told(f"/api/jobs/{number}/change", {"serial": "WL-5", "minutes": "30", "worth": ""})
    told(f"/api/jobs/{number}/answer", {"list": "after", "item": "clean", "answer": "yes"})
    told(f"/api/jobs/{number}/close", {"outcome": "works", "note": "sends again"})
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        job = JobBook(store).job(number)
    assert (job.serial, job.minutes, job.worth, job.fault) == ("WL-5", 30, None, "no radio")
    assert (job.outcome, job.outcome_note) == ("works", "sends again")
    assert job.answers[("after", "clean")].answer == "yes"
    told(f"/api/jobs/{number}/reopen", {})
    assert told(f"/api/jobs/{number}")["outcome"] is None


def test_what_cannot_be_is_said(client, told):
    number = told("/api/jobs/new", {"board": "Weather logger"})["job"]
    here = f"/api/jobs/{number}"
    assert "is 1 to 80 characters" in refused(client, "/api/jobs/new", {"board": " "})
    assert "is no time" in refused(client, f"{here}/change", {"minutes": "soon"})
    assert "is not known" in refused(client, f"{here}/close", {"outcome": "burnt"})
    assert "is no question" in refused(
        client, f"{here}/answer", {"list": "after", "item": "x", "answer": "yes"}
    )
    assert "answer with one of" in refused(
        client, f"{here}/answer", {"list": "after", "item": "clean", "answer": "x"}
    )
    assert "has no job 99" in refused(client, "/api/jobs/99")
    for path, body in (
        (f"{here}/answer", {"list": "../x", "item": "clean", "answer": "yes"}),
        (f"{here}/change", {"id": "7"}),
        (f"{here}/change", {"serial": 7}),
        ("/api/jobs/new", {"serial": "7"}),
        (f"{here}/close", {}),
    ):
        assert "did not understand" in refused(client, path, body)


def test_photographs_parts_and_tests_are_added_and_taken_back(client, told, tmp_path):
    number = told("/api/jobs/new", {"board": "Weather logger"})["job"]
    here = f"/api/jobs/{number}"
    sent = client.ask("POST", f"{here}/photo?of=before&note=corroded", jpeg(),
                      client.headers(Content_Type="image/jpeg"))  # fmt: skip
    assert sent[0] == 202, sent
    told(f"{here}/part", {"name": "radio module", "count": 2, "each": "4,10"})
    told(f"{here}/test", {"kind": "functional", "passed": True, "minutes": "15", "note": "sends"})
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        job = JobBook(store).job(number)
        raw = whole_path_of(store.database, job.photos[0].file).read_bytes()
    assert (job.photos[0].kind, job.photos[0].note) == ("before", "corroded")
    with Image.open(BytesIO(raw)) as image:  # turned upright, and nothing else of its file stays
        assert image.size == (300, 400) and not image.getexif()
    assert GPS.encode() not in raw
    assert (job.parts[0].count, str(job.parts[0].each)) == (2, "4.10")
    assert (job.tests[0].passed, job.tests[0].minutes, job.tests[0].note) == (True, 15, "sends")
    for what in ("photo", "part", "test"):
        told(f"{here}/take-back", {"what": what, "number": 1})
    left = told(here)
    assert (left["photos"], left["parts"], left["tests"]) == ([], [], [])


def test_an_item_that_cannot_be_is_said(client, told):
    number = told("/api/jobs/new", {"board": "Weather logger"})["job"]
    here = f"/api/jobs/{number}"
    good = {"name": "radio", "count": 1, "each": ""}
    assert "no count of parts" in refused(client, f"{here}/part", {**good, "count": 0})
    assert "name of the part" in refused(client, f"{here}/part", {**good, "name": " "})
    test = {"kind": "load", "passed": False, "minutes": "long"}
    assert "is no time" in refused(client, f"{here}/test", test)
    assert "has no part 3" in refused(client, f"{here}/take-back", {"what": "part", "number": 3})
    for path, body in (
        (f"{here}/part", {**good, "count": "1"}),
        (f"{here}/test", {**test, "kind": "smoke"}),
        (f"{here}/test", {**test, "passed": "yes"}),
        (f"{here}/take-back", {"what": "closed", "number": 1}),
    ):
        assert "did not understand" in refused(client, path, body)
    assert told(here)["parts"] == []


@pytest.mark.parametrize(
    ("address", "body", "kind", "status"),
    [
        ("photo?of=before", b"no photograph", "image/jpeg", 409),
        ("photo?of=elsewhere", jpeg(40, 30), "image/jpeg", 400),
        ("photo?of=before", jpeg(40, 30), "text/html", 415),
        ("photo?of=before", jpeg(40, 30), "application/json", 415),
        ("part", b"x" * (MOST_BODY_BYTES + 1), "application/json", 413),
        ("part", jpeg(40, 30), "image/jpeg", 415),
    ],
)
def test_a_photograph_of_a_job_comes_in_by_its_own_door(client, told, address, body, kind, status):
    number = told("/api/jobs/new", {"board": "Weather logger"})["job"]
    path = f"/api/jobs/{number}/{address}"
    assert client.ask("POST", path, body, client.headers(Content_Type=kind))[0] == status
    assert told(f"/api/jobs/{number}")["photos"] == []


@pytest.mark.parametrize("path", ["", "/2", "/figures", "/2/photo/1"])
def test_nobody_reads_it_without_a_token(client, filled, path):
    assert client.get(f"/api/jobs{path}", X_Emberbed_Token=None)[0] == 401


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux answers at all of 127.0.0.0/8")
def test_a_shared_page_sees_nothing_of_it(serving, filled):
    """A tablet may watch and stop; the shop's record is not part of watching."""
    tablet = paired(Asking(serving(share=TABLET).server, TABLET))
    for path in ("/api/jobs", "/api/jobs/2", "/api/jobs/figures", "/api/jobs/2/photo/1"):
        assert tablet.get(path)[0] == 403, path
    assert tablet.post("/api/jobs/2/close", {"outcome": "fails"})[0] == 403
    photo = tablet.headers(Content_Type="image/jpeg")
    assert tablet.ask("POST", "/api/jobs/2/photo?of=after", jpeg(), photo)[0] == 403
