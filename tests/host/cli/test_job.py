"""`emberbed job`: what it says, what it writes, what it refuses; a run joins its job."""

import csv
import json

import pytest
from PIL import Image

from emberbed.jobs.book import JobBook
from emberbed.store.run_store import RunStore
from tests.host.cli.test_runs_files import STORE, one_sentence
from tests.host.report.test_run_page import Page
from tests.support import bench_jobs

RUN = ("run", "--hold", "60", "--for", "1min", "--press")


@pytest.fixture
def job(emberbed):
    """Return a function that runs `emberbed job WORDS` on the store; it must go well."""

    def run(*words):
        said = emberbed("job", *words, *STORE)
        assert (said.exit_code, said.err) == (0, ""), said
        return said.out

    return run


@pytest.fixture
def photo(tmp_path):
    Image.new("RGB", (300, 200), "green").save(tmp_path / "before.png")
    return "before.png"


def test_a_job_from_its_start_to_its_end(job, store, photo, tmp_path):
    (tmp_path / "log.csv").write_text("time_s,chip_c\n0,20\n60,70\n", encoding="utf-8")
    said = job("new", "Label printer", "--serial", "LP-1", "--fault", "blank labels")
    assert said == "Job 1 (Label printer, serial LP-1) is open.\n"
    store()
    assert job("run", "1") == "Job 1 (Label printer, serial LP-1) has run 1.\n"
    assert "photograph 1 is kept" in job("photo", "1", photo, "--of", "before")
    assert "part 1 is kept" in job("part", "1", "memory", "--count", "2", "--each", "4.10")
    assert "pads: Is every" in job("check", "1", "after")
    said = job("check", "1", "after", "flush=yes", "pads=no", "--note", "one is torn")
    assert "    no, one is torn. A pad that" in said
    said = job("test", "1", "load", "--passed", "--minutes", "30", "--log", "log.csv")
    assert "chip_c: peak 70.0 °C, mean 45.0 °C over 1:00 (log.csv)" in said
    assert "3 changed" in job("edit", "1", "--minutes", "45", "--worth", "90", "--found", "ball")
    said = job("close", "1", "works", "--note", "prints")
    assert "works: prints" in said and "Before heat, without an answer: photograph taken" in said
    shown = job("show")
    for line in ("Found: ball", "After heat: 1 of 7 yes", "    thermal pads back: no, one is torn"):
        assert f"{line}\n" in shown
    assert job("list", "--open").count("\n") == 1  # the heads alone
    assert "is open" in job("reopen", "1") and job("list", "--open").count("\n") == 2


def test_the_same_as_json(job, store):
    job("new", "Label printer", "--serial", "LP-1")
    store()
    job("run", "1", "1")
    (row,) = json.loads(job("list", "--json"))
    assert (row["job"], row["serial"], row["outcome"], row["runs"]) == (1, "LP-1", None, [1])
    whole = json.loads(job("show", "1", "--json"))
    assert whole["runs"][0]["energy_j"] == 37 * 134
    assert [one["id"] for one in whole["checks"]["after"]][:2] == ["cool", "flush"]
    answered = json.loads(job("check", "1", "after", "cool=yes", "--json"))
    assert answered["after"][0]["answer"] == "yes"
    entries = json.loads(job("history", "1", "--json"))
    assert [one["subject"] for one in entries] == ["board", "serial", "run/1", "check/after/cool"]
    assert "check/after/cool: {" in job("history", "1")


def test_what_is_taken_back_stays_in_the_history(job, photo):
    job("new", "Weather logger")
    job("photo", "last", photo, "--of", "other")
    job("undo", "1", "photo", "1")
    job("edit", "1", "--serial", "WL-1")
    job("edit", "1", "--serial", "")
    assert "Photograph" not in job("show")
    assert "photo/1: taken back" in job("history") and "serial: taken back" in job("history")


def test_statistics_and_prices(emberbed, job, tmp_path):
    assert job("prices") == "A kWh: not known\nAn hour of work: not known\n"
    assert "No job that heated on a real heater is closed" in job("stats")
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        bench_jobs.fill(opened, tmp_path)
    assert job("prices") == "A kWh: 0.32 EUR\nAn hour of work: 24.00 EUR\n"
    said = job("stats", "--by", "board")
    assert "Label printer, main board  3     2     67% (21% to 94%)" in said
    rows = json.loads(job("stats", "--by", "profile,class", "--json"))
    assert [(row["class"], row["jobs"], row["works"]) for row in rows] == [
        ("heavy", 3, 2), ("light", 2, 1)]  # fmt: skip
    assert rows[0]["gain"] == "159.38" and rows[1]["gain"] is None
    now = json.loads(job("prices", "--kwh", "0.41", "--json"))
    assert now == {"kwh": "0.41", "hour": "24", "currency": "EUR"}
    assert emberbed("job", "stats", "--simulated", *STORE).out.startswith(
        "No job that heated on the"
    )


def test_exports_are_whole_and_safe_in_a_spreadsheet(job, tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        bench_jobs.fill(opened, tmp_path)
        JobBook(opened).new('=HYPERLINK("http://x")', serial="@1", fault='a,"b"')
    assert job("export", "--to", "jobs.csv") == "jobs.csv\n"
    with (tmp_path / "jobs.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 8
    assert (rows[1]["runs"], rows[1]["total_cost"], rows[1]["tests_passed"]) == (
        "2 3",
        "38.21",
        "1",
    )
    # OWASP, CSV injection: a cell must not begin with = + - @ tab or carriage return
    assert rows[-1]["board"] == '\'=HYPERLINK("http://x")' and rows[-1]["serial"] == "'@1"
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r"))
                   for row in rows for cell in row.values())  # fmt: skip
    job("export", "2", "--to", "one.JSON")
    (whole,) = json.loads((tmp_path / "one.JSON").read_text(encoding="utf-8"))
    assert whole["serial"] == "LP-0533" and len(whole["photos"]) == 2


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("show", "9"), "has no job 9; see those it has with: emberbed job list"),
        (("show", "x"), "has no job x"),
        (("edit", "1", "--minutes", "soon"), "--minutes soon is no time: write whole minutes"),
        (("edit", "1", "--worth", "1,50"), "is no amount of 0 to 1000000: write it with a point"),
        (("check", "1", "afer"), '"afer" is no checklist; did you mean "after"?'),
        (("check", "1", "after", "flush"), '"flush" is no answer to a question; write question='),
        (("check", "1", "after", "flsh=yes"), 'list after; did you mean "flush"'),
        (("check", "1", "after", "flush=maybe"), "answer with one of yes, no, not_needed"),
        (("check", "1", "after", "--note", "x"), "--note is about answers"),
        (("photo", "1", "none.png", "--of", "before"), "none.png cannot be read"),
        (("photo", "1", "bad.toml", "--of", "before"), "bad.toml is no PNG or JPEG"),
        (("part", "1", "pad", "--each", "-1"), "--each -1 is no amount"),
        (("test", "1", "load", "--failed", "--log", "bad.toml"), "bad.toml:1: no column"),
        (("run", "1", "7"), "has no run 7"),
        (("undo", "1", "test", "3"), "Job 1 has no test 3"),
        (("close", "1", "fine"), '"fine" is not known; '),
        (("stats", "--by", "month"), '--by "month" is not known; use some'),
        (("prices", "--kwh", "free"), "--kwh free is no amount"),
        (("prices", "--currency", "euro"), "euro is no currency: write its three letters"),
        (("export", "--to", "jobs.xls"), "name a file .csv or .json"),
        (("export", "--to", "none/jobs.csv"), "no such folder"),
        (("new", " "), "--board is 1 to 80 characters"),
        (("new", "Logger", "--run", "7"), "has no run 7"),
    ],
)  # fmt: skip
def test_bad_input_is_named_and_changes_nothing(emberbed, job, store, tmp_path, words, wanted):
    store()
    job("new", "Label printer")
    (tmp_path / "bad.toml").write_text("x y\n1 2\n2 3\n", encoding="utf-8")
    before = job("history", "1")
    said = emberbed("job", *words, *STORE)
    assert one_sentence(said) and wanted in said.err, said
    assert job("history", "1") == before and job("list").count("\n") == 2


def test_a_store_that_is_not_there_is_named(emberbed):
    assert "does not exist" in emberbed("job", "list", "--store", "none.sqlite").err


def test_a_checklist_of_the_bench_that_is_broken_is_named(emberbed, job, tmp_path):
    job("new", "Label printer")
    (tmp_path / "checklists").mkdir()
    (tmp_path / "checklists" / "test.toml").write_text("[[item]]\nid = 3\n", encoding="utf-8")
    said = emberbed("job", "show", *STORE)
    assert one_sentence(said) and "test.toml: item 1: id is 1 to 30 characters" in said.err


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--job", "5"), "has no job 5"),
        (("--job", "1"), "Job 1 (Label printer) is closed: open it again with: emberbed job"),
        (("--job", "1", "--board", "x"), "--job and --board are two ways to name one job"),
        (("--board", " "), "--board is 1 to 80 characters"),
    ],
)  # fmt: skip
def test_a_run_is_refused_before_anything_is_sent(emberbed, job, words, wanted):
    job("new", "Label printer")
    job("close", "1", "works")
    said = emberbed(*RUN, *words, *STORE)
    assert one_sentence(said) and wanted in said.err
    assert "no runs yet" in emberbed("runs", "show", *STORE).err


@pytest.mark.parametrize("option", ["--job", "--board"])
def test_a_run_that_is_taken_over_has_its_job_already(emberbed, option):
    said = emberbed("run", "--resume", option, "1", "--device", "/dev/none", *STORE)
    assert one_sentence(said) and "--job and --board out" in said.err


def test_the_customers_sheet_fills_itself_from_the_job(emberbed, job, photo, store, tmp_path):
    def written(*words):
        said = emberbed("runs", "sheet", "2", "--shop", "Bench", "--to", "s.html", *words, *STORE)
        assert said.exit_code == 0, said.err
        page = Page((tmp_path / "s.html").read_text(encoding="utf-8"))
        return page.plain, said.err, (tmp_path / "s.html").read_text(encoding="utf-8")

    for number in ("1", "2", "3"):
        store()
        job("new", "Label printer", "--serial", "LP-1" if number != "3" else "LP-3")
        job("run", number, number)
    job("photo", "2", photo, "--of", "before")
    Image.new("RGB", (60, 40), "red").save(tmp_path / "after.png")
    job("photo", "2", "after.png", "--of", "after")
    (tmp_path / "after.png").unlink()
    plain, told, html = written()
    assert "Label printer, serial LP-1" in plain and told == ""
    assert html.count("data:image/jpeg") == 2
    assert "Photograph before" in plain and "Photograph after" in plain
    assert "Passes above liquidus on this board: 0 of 3, in its records 1, 2." in plain
    assert "Weather logger 9" in written("--board", "Weather logger 9")[0]
    (kept,) = [one for one in (tmp_path / "bench-files").iterdir() if one.stat().st_size < 250]
    kept.write_bytes(b"changed")
    plain, told, html = written()
    assert html.count("data:image/jpeg") == 1
    assert told == "note: The copy of after.png is gone or changed\n"
