"""`emberbed runs`: the list in full and cut, one run, its CSV, its audit."""

import csv
import io
import json
import sqlite3

import pytest

from emberbed.run_table import CUT, run_table
from emberbed.store.run_store import RunStore

STORE = ("--store", "runs.sqlite")
NAME = "Weather logger, loose sensor socket"


def test_in_a_pipe_the_list_is_whole(emberbed, store):
    store()
    store(profile_name="A" * 70)
    heading, first, second = emberbed("runs", "list", *STORE).out.splitlines()
    assert heading.split() == [
        "run", "started", "(UTC)", "profile", "ended", "as", "limits", "device",
    ]  # fmt: skip
    assert NAME in first and "finished" in first and "virtual (test engine)" in first
    assert "A" * 70 in second
    assert first.index("finished") == second.index("finished") == heading.index("ended as")


def test_an_empty_list_has_its_heading(emberbed, tmp_path):
    RunStore.open(tmp_path / "runs.sqlite").close()
    assert len(emberbed("runs", "list", *STORE).out.splitlines()) == 1
    assert json.loads(emberbed("runs", "list", "--json", *STORE).out) == []


@pytest.mark.parametrize("columns", [80, 100, 200])
def test_in_a_terminal_only_the_name_is_cut(store, tmp_path, columns):
    store(profile_name="Label printer main board, 27 mm BGA, second attempt")
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        lines = run_table(opened.runs(), columns)
    assert all(len(line) <= columns for line in lines)
    assert lines[1].endswith("virtual (test engine)")
    assert lines[1].startswith("1  ")
    assert (CUT in lines[1]) == (columns < 130)


def test_a_narrow_terminal_still_gets_every_column(store, tmp_path):
    store()
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        (line,) = run_table(opened.runs(), 20)[1:]
    assert "finished" in line and "virtual" in line and CUT in line


def test_the_list_as_json(emberbed, store):
    store()
    (row,) = json.loads(emberbed("runs", "list", "--json", *STORE).out)
    assert (row["id"], row["state"], row["exit_code"], row["ticks"]) == (1, "finished", 0, 30)
    assert row["profile_name"] == NAME
    assert row["trip"] == ""


def test_one_run_with_its_times_and_its_gap(emberbed, store):
    store()
    lines = emberbed("runs", "show", "1", *STORE).out.splitlines()
    assert lines[0].startswith(f"Run 1: {NAME}, begun 20")
    assert lines[1] == "Finished: every stage ran to its end. 1 limit exceeded."
    assert lines[2].split(None, 1)[1] == "Before the first record."
    assert lines[3] == "    0:02  Stage 1 of 4: ramp to 90 °C."  # 1.5 s after the first record
    assert lines[4] == "    0:02  5 records are missing from here on."
    assert lines[5].startswith("30 records, fingerprint ")


def test_one_run_as_json(emberbed, store):
    store()
    run = json.loads(emberbed("runs", "show", "last", "--json", *STORE).out)
    assert run["gaps"] == [{"first_missing": 120, "last_missing": 124}]
    assert [event["kind"] for event in run["events"]] == ["note", "stage"]


def test_the_csv_is_the_same_in_a_file_and_on_standard_output(emberbed, store, tmp_path):
    store()
    assert emberbed("runs", "export", "1", "--to", "run.csv", *STORE).exit_code == 0
    said = emberbed("runs", "export", "1", *STORE)
    written = (tmp_path / "run.csv").read_bytes()
    assert said.out.replace("\r\n", "\n").encode() == written.replace(b"\r\n", b"\n")
    rows = list(csv.DictReader(io.StringIO(said.out)))
    assert len(rows) == 30
    assert rows[0]["tick"] == "100"


def test_the_page_again(emberbed, store, tmp_path):
    store()
    said = emberbed("runs", "page", "1", "--to", "again.html", *STORE)
    assert said.out.strip() == "again.html"
    assert NAME in (tmp_path / "again.html").read_text(encoding="utf-8")


def test_an_audit_and_a_run_that_was_changed(emberbed, store, tmp_path):
    store()
    good = emberbed("runs", "audit", "1", *STORE)
    assert good.exit_code == 0
    assert good.out.startswith("Run 1 is as it was recorded: ")
    with sqlite3.connect(tmp_path / "runs.sqlite") as database:
        database.execute("UPDATE tick SET channel0_cdeg = 1 WHERE tick = 105")
    database.close()
    changed = emberbed("runs", "audit", "1", *STORE)
    assert changed.exit_code == 1
    assert "Tick 105" in changed.out
    signs = json.loads(emberbed("runs", "audit", "1", "--json", *STORE).out)["signs"]
    assert len(signs) == 1


def test_a_run_whose_program_is_gone_is_shown_as_interrupted(emberbed, tmp_path):
    from tests.host.store.synthetic_run import facts

    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        opened.begin_run(facts())
    with sqlite3.connect(tmp_path / "runs.sqlite") as database:
        database.execute("UPDATE run SET process_started = 'in another life'")
    database.close()
    (row,) = json.loads(emberbed("runs", "list", "--json", *STORE).out)
    assert row["state"] == "interrupted"
