"""`emberbed runs export, overlay, bundle, open, note, replay`: what they say and refuse."""

import json
import sqlite3

import pytest
from PIL import Image

from emberbed.replay.play import CPYTHON
from emberbed.store import export
from emberbed.store.run_store import RunStore
from tests.host.replay.recorded import open_store, recorded, store_records
from tests.host.replay.test_replay import changed
from tests.host.store.synthetic_run import facts
from tests.support.parts import need_python_module

STORE = ("--store", "runs.sqlite")
FOREIGN = ("Traceback", "Error", ".py", "digest", "shadow", "lease")


@pytest.fixture
def real(tmp_path):
    """Store two runs of the real firmware; return their numbers."""
    with open_store(tmp_path) as store:
        numbers = [store_records(store, recorded(seed=seed)) for seed in (1, 2)]
        for number in numbers:
            store.end_run(number, "finished", 0, limits_exceeded=0)
    return numbers


def one_sentence(said):
    assert said.exit_code == 2 and said.out == ""
    (line,) = said.lines
    assert not any(word in line for word in FOREIGN)
    return line


def test_the_files_name_says_its_form(emberbed, store, tmp_path):
    store()
    need_python_module("pyarrow", "pip install 'emberbed[parquet]'")
    for form in export.FORMS:
        told = emberbed("runs", "export", "1", "--to", f"run.{form.upper()}", *STORE)
        assert told.err.strip() == f"Run 1 is written to run.{form.upper()}"
    assert (tmp_path / "run.PARQUET").read_bytes()[:4] == b"PAR1"  # Parquet's own magic number
    assert len(json.loads((tmp_path / "run.JSON").read_text())) == 30
    said = emberbed("runs", "export", "--form", "json", *STORE)
    assert json.loads(said.out) == json.loads((tmp_path / "run.JSON").read_text())


def test_forms_that_cannot_be_are_refused(emberbed, store, monkeypatch):
    store()
    assert "csv, json, parquet, png" in one_sentence(
        emberbed("runs", "export", "--form", "xls", *STORE)
    )
    if export.can_write_parquet():
        assert "--to" in one_sentence(emberbed("runs", "export", "--form", "parquet", *STORE))
    monkeypatch.setattr(export, "can_write_parquet", lambda: False)
    said = one_sentence(emberbed("runs", "export", "--to", "x.parquet", *STORE))
    assert "emberbed[parquet]" in said


def test_the_chart_as_a_picture(emberbed, real, tmp_path):
    told = emberbed("runs", "export", "1", "--to", "run.png", *STORE)
    assert told.err.strip() == "Run 1 is written to run.png"
    with Image.open(tmp_path / "run.png") as image:
        assert (image.format, image.size) == ("PNG", (1500, 900))
        counted = image.convert("RGB").getcolors(image.width * image.height)
        colours = {colour for _count, colour in counted}
        assert set(image.info) <= {"Software", "dpi"}, "nothing hides in it"
    assert (255, 255, 255) in colours and (0xD5, 0x5E, 0x00) in colours  # paper, the first curve
    once = (tmp_path / "run.png").read_bytes()
    emberbed("runs", "export", "1", "--form", "png", "--to", "again", *STORE)
    assert (tmp_path / "again").read_bytes() == once
    said = one_sentence(emberbed("runs", "export", "--form", "png", *STORE))
    assert "A picture is no text" in said


def test_a_run_without_a_record_has_no_chart(emberbed, tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        opened.end_run(opened.begin_run(facts()), "refused", 3)
    said = one_sentence(emberbed("runs", "export", "1", "--to", "x.png", *STORE))
    assert said == "Run 1 has no readings, so there is no chart of it: export it as csv or json"


def test_two_runs_in_one_picture(emberbed, real, tmp_path):
    said = emberbed("runs", "overlay", *real, "--stage", "2", "--to", "both.svg", *STORE)
    assert (said.exit_code, said.out.strip()) == (0, "both.svg")
    picture = (tmp_path / "both.svg").read_text(encoding="utf-8")
    assert picture.startswith("<svg") and "stage 2 begins" in picture
    assert "run 1" in picture and "run 2" in picture
    assert "temperature of top_near_chip, °C" in picture


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("1", "--stage", "1"), "2 to 8 runs"),
        (("1", "2", "--stage", "9"), "never came to stage 9"),
        (("1", "2", "--sensor", "nose"), "use one of top_near_chip, edge"),
        (("1", "7"), "no run 7"),
    ],
)
def test_runs_that_cannot_be_laid_over_each_other(emberbed, real, words, wanted):
    assert wanted in one_sentence(emberbed("runs", "overlay", *words, "--to", "x.svg", *STORE))


def test_a_run_is_noted_and_shown(emberbed, real):
    said = emberbed("runs", "note", "1", "  The edge sensor\n was loose. ", *STORE)
    assert (said.exit_code, said.out.strip()) == (0, "Noted for run 1.")
    assert "The edge sensor was loose." in emberbed("runs", "show", "1", *STORE).out
    shown = json.loads(emberbed("runs", "show", "1", "--json", *STORE).out)
    assert [note["sentence"] for note in shown["notes"]] == ["The edge sensor was loose."]
    assert emberbed("runs", "audit", "1", *STORE).exit_code == 0
    for text in ("", "a\x1b[2Jb", "x" * 1001):
        assert "plain text" in one_sentence(emberbed("runs", "note", "1", text, *STORE))


def test_a_bundle_goes_and_comes(emberbed, real, tmp_path):
    said = emberbed("runs", "bundle", "2", "run.zip", *STORE)
    assert (said.exit_code, said.err.strip()) == (0, "Run 2 is written to run.zip")
    assert "there already" in one_sentence(emberbed("runs", "bundle", "2", "run.zip", *STORE))
    opened = emberbed("runs", "open", "run.zip", "--store", "other.sqlite")
    assert opened.out.startswith("Run 2 of the bundle is stored here as run 1.")
    again = json.loads(emberbed("runs", "open", "run.zip", "--store", "other.sqlite", "--json").out)
    assert (again["run"], again["was_there"], again["bundled_run"]) == (1, True, 2)
    assert "bundle, as run 2" in emberbed("runs", "show", "--store", "other.sqlite").out
    with RunStore.open(tmp_path / "runs.sqlite") as home:
        assert again["head_sha256"] == home.run(2).head_sha256
    (tmp_path / "bad.zip").write_bytes(b"PK")
    assert "bad.zip" in one_sentence(emberbed("runs", "open", "bad.zip", *STORE))


def test_a_bundle_brings_the_job_of_its_run(emberbed, real):
    emberbed("job", "new", "Weather logger", "--serial", "WL-31", "--run", "2", *STORE)
    told = "Run 2 is written to job.zip, with Job 1 (Weather logger, serial WL-31)"
    assert emberbed("runs", "bundle", "2", "job.zip", *STORE).err.strip() == told
    opened = emberbed("runs", "open", "job.zip", "--store", "third.sqlite")
    assert "Its job is stored here as job 1" in " ".join(opened.out.split())
    again = json.loads(emberbed("runs", "open", "job.zip", "--store", "third.sqlite", "--json").out)
    assert (again["run"], again["job"]) == (1, 1)
    assert "WL-31" in emberbed("job", "show", "1", "--store", "third.sqlite").out
    said = emberbed("runs", "bundle", "2", "bare.zip", "--without-job", *STORE)
    assert said.err.strip() == "Run 2 is written to bare.zip"
    bare = emberbed("runs", "open", "bare.zip", "--store", "fourth.sqlite", "--json")
    assert json.loads(bare.out)["job"] is None


def test_a_run_is_replayed(emberbed, real):
    said = emberbed("runs", "replay", "1", "--engine", "cpython", *STORE)
    assert said.exit_code == 0, said
    count = len(recorded(seed=1))
    heading, sentence = said.out.splitlines()
    assert heading == f"Run 1: {count} readings."
    assert sentence.startswith(f"CPython: {count} readings give the recorded outputs again")
    (one,) = json.loads(
        emberbed("runs", "replay", "1", "--engine", "cpython", "--json", *STORE).out
    )["replays"]
    assert one == {
        "interpreter": CPYTHON,
        "equal_ticks": count,
        "differences": [],
        "not_proven": [],
    }


def test_a_difference_is_told_with_its_exit_code(emberbed, tmp_path):
    records = list(recorded())
    records[400] = changed(records[400], energy_j=1)
    with open_store(tmp_path) as store:
        store_records(store, records)
    said = emberbed("runs", "replay", "--engine", "cpython", *STORE)
    assert said.exit_code == 1
    assert "energy_j is 1 in the record and" in said.out.splitlines()[1]
    assert not any(word in said.out for word in FOREIGN)


def test_what_cannot_be_replayed(emberbed, real, tmp_path):
    assert "--engine fast" in one_sentence(emberbed("runs", "replay", "--engine", "fast", *STORE))
    with sqlite3.connect(tmp_path / "runs.sqlite") as database:
        database.execute(
            "UPDATE run SET firmware_digest = 'abcdabcdabcdabcd', firmware_version = '7'"
        )
    database.close()
    assert "needs version 7" in one_sentence(emberbed("runs", "replay", *STORE))


def test_runs_are_moved_by_their_day_and_read_where_they_are(emberbed, real, tmp_path):
    said = emberbed("runs", "archive", "old.sqlite", "--before", "2999-01-01", *STORE)
    assert said.exit_code == 0 and "2 runs are moved to old.sqlite" in said.out
    assert emberbed("runs", "audit", "2", "--store", "old.sqlite").exit_code == 0
    assert "has no run" in one_sentence(emberbed("runs", "show", "2", *STORE))
    told = (tmp_path / "runs-removed.jsonl").read_text().splitlines()
    assert [json.loads(line)["run"] for line in told] == list(real)


def test_a_run_is_removed_after_a_yes_only(emberbed, real):
    said = emberbed("runs", "remove", "1", *STORE)  # nobody at a keyboard
    assert said.exit_code == 2 and "say --yes" in said.lines[-1]
    assert emberbed("runs", "show", "1", *STORE).exit_code == 0
    said = emberbed("runs", "remove", "1", "--yes", *STORE)
    assert said.exit_code == 0 and "Run 1, " in said.out and "1 run is removed" in said.out
    assert emberbed("runs", "show", "1", *STORE).exit_code == 2
    assert emberbed("runs", "audit", "2", *STORE).exit_code == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("archive", "old.sqlite"), "No run is meant"),
        (("archive", "old.sqlite", "--before", "spring"), "is no day"),
        (("archive", "runs.sqlite", "1"), "is the store that they lie in"),
        (("remove", "9", "--yes"), "has no run 9"),
    ],
)
def test_what_cannot_go_is_told(emberbed, real, words, told):
    assert told in one_sentence(emberbed("runs", *words, *STORE))
