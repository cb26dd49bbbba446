"""`emberbed runs`: the list in full and cut, one run, its CSV, its audit."""

import csv
import io
import json
import sqlite3
import time
from pathlib import Path

import pytest

from emberbed import cli_common, cli_runs_files
from emberbed.run_table import CUT, run_table
from emberbed.store.run_store import RunStore
from emberbed.words import HOT
from emberbed_fw import trip_codes
from tests.host.store.synthetic_run import drawn_record, facts

STORE = ("--store", "runs.sqlite")
NAME = "Weather logger, loose sensor socket"


def test_in_a_pipe_the_list_is_whole(emberbed, store):
    store()
    store(profile_name="A" * 70)
    heading, first, second = emberbed("runs", "list", *STORE).out.splitlines()
    assert heading.split() == [
        "run", "started", "profile", "ended", "as", "limits", "passed", "device",
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
    assert lines[1].endswith("virtual (test engine)") == (columns > 80)  # left out before the rest
    assert lines[1].startswith("1  ")
    assert (CUT in lines[1]) == (columns < 130)


def test_a_narrow_terminal_still_gets_every_column(store, tmp_path):
    store()
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        (line,) = run_table(opened.runs(), 20)[1:]
    assert "finished" in line and "virtual" not in line and CUT in line


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
    assert "(UTC" in lines[0]
    assert lines[1].split(None, 1)[1] == "Before the first record."
    assert lines[2] == "    0:02  Stage 1 of 4: ramp to 90 °C."  # 1.5 s after the first record
    assert lines[3] == "    0:02  5 records are missing from here on."
    assert lines[4].startswith("30 records, fingerprint ")
    assert lines[5].startswith("Code on its sheet: ")
    assert lines[6] == "Finished: every stage ran to its end. 1 limit exceeded."


def test_times_are_those_of_the_clock_on_the_wall(emberbed, store, monkeypatch):
    if not hasattr(time, "tzset"):
        pytest.skip("Windows cannot change its zone for one program")
    monkeypatch.setenv("TZ", "XXX-5:30")
    time.tzset()
    try:
        store(started_utc="2026-03-01T20:00:00.000+00:00")
        assert "2026-03-02 01:30" in emberbed("runs", "list", *STORE).out
        assert "begun 2026-03-02 01:30:00 (UTC+0530)" in emberbed("runs", "show", *STORE).out
        (row,) = json.loads(emberbed("runs", "list", "--json", *STORE).out)
        assert row["started_utc"].startswith("2026-03-01T20:00:00")
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize(
    ("state", "trip", "shown"),
    [
        ("tripped", trip_codes.SENSOR_OPEN, "tripped: open thermocouple"),
        ("tripped", 99, "tripped: TRIP_99"),
        ("link_lost", 0, "PC link lost"),
        ("stopped", 0, "stopped"),
    ],
)
def test_the_list_says_how_a_run_ended(emberbed, tmp_path, state, trip, shown):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        opened.end_run(opened.begin_run(facts()), state, 3, trip=trip)
    assert f"  {shown}  " in emberbed("runs", "list", *STORE).out


def test_a_tripped_run_is_shown_with_cause_and_action_last(emberbed, tmp_path):
    trip = trip_codes.HEAT_UNCOMMANDED
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        run_id = opened.begin_run(facts())
        opened.append(run_id, [drawn_record(tick, trip=trip * (tick > 5)) for tick in range(10)])
        opened.add_event(run_id, 6, "trip", "It tripped.")
        opened.end_run(run_id, "tripped", 3, trip=trip)
    *_before, cause, caution = emberbed("runs", "show", *STORE).out.splitlines()
    assert cause.startswith("Tripped: Heater current flows although the heater was told to be off")
    assert "Pull the mains plug now" in cause
    assert caution == HOT


def test_one_run_as_json(emberbed, store):
    store()
    run = json.loads(emberbed("runs", "show", "last", "--json", *STORE).out)
    assert run["gaps"] == [{"first_missing": 120, "last_missing": 124}]
    assert [event["kind"] for event in run["events"]] == ["note", "stage"]


def test_the_csv_is_the_same_in_a_file_and_on_standard_output(emberbed, store, tmp_path):
    store()
    told = emberbed("runs", "export", "1", "--to", "run.csv", *STORE)
    assert (told.exit_code, told.out) == (0, "")
    assert told.err.strip() == "Run 1 is written to run.csv"
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
    place = tmp_path / "pages" / "run-1.html"
    assert Path(emberbed("runs", "page", *STORE).out.strip()).resolve() == place
    assert NAME in place.read_text(encoding="utf-8")


def test_in_a_terminal_the_csv_goes_to_a_file_that_was_not_there(
    emberbed, store, tmp_path, monkeypatch
):
    store()
    monkeypatch.setattr(cli_runs_files, "in_terminal", lambda: True)
    said = emberbed("runs", "export", *STORE)
    assert (said.out, said.err.strip()) == ("", "Run 1 is written to run-1.csv")
    assert (tmp_path / "run-1.csv").read_text(encoding="utf-8").startswith("tick,")
    again = emberbed("runs", "export", *STORE)
    assert again.exit_code == 2
    assert again.err.strip() == "run-1.csv is there already: name a file with --to"


def open_run(folder):
    """Store a run that is still recorded: its newest minute lies in rows."""
    with RunStore.open(folder / "runs.sqlite") as opened:
        run_id = opened.begin_run(facts())
        for first in (100, 110, 120):
            opened.append(run_id, [drawn_record(first + more) for more in range(10)])


def test_an_audit_and_a_run_that_was_changed(emberbed, tmp_path):
    open_run(tmp_path)
    good = emberbed("runs", "audit", "1", *STORE)
    assert good.exit_code == 0
    assert good.out.startswith("Run 1 is as it was recorded: ")
    with sqlite3.connect(tmp_path / "runs.sqlite") as database:
        database.execute("UPDATE tick SET channel0_cdeg = 1 WHERE tick = 105")
    database.close()
    changed = emberbed("runs", "audit", "1", *STORE)
    assert changed.exit_code == 1
    verdict, sign = changed.out.splitlines()
    assert verdict == "Run 1 was changed after it was recorded:"
    assert sign.startswith("Tick 105")
    signs = json.loads(emberbed("runs", "audit", "1", "--json", *STORE).out)["signs"]
    assert len(signs) == 1


def test_many_signs_of_one_kind_are_one_line(emberbed, tmp_path):
    open_run(tmp_path)
    with sqlite3.connect(tmp_path / "runs.sqlite") as database:
        database.execute(
            "UPDATE tick SET channel0_cdeg = 1, trip = 3 WHERE tick BETWEEN 101 AND 108"
        )
        database.execute("UPDATE tick SET channel1_cdeg = NULL WHERE tick = 102")
    database.close()
    lines = emberbed("runs", "audit", "1", *STORE).out.splitlines()
    assert len(lines) == 4, lines
    assert sum(line.endswith("And 7 more like this.") for line in lines) == 2
    signs = json.loads(emberbed("runs", "audit", "1", "--json", *STORE).out)["signs"]
    assert len(signs) == 17


def test_a_run_whose_program_is_gone_is_shown_as_interrupted(emberbed, tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        opened.begin_run(facts())
    with sqlite3.connect(tmp_path / "runs.sqlite") as database:
        database.execute("UPDATE run SET process_started = 'in another life'")
    database.close()
    (row,) = json.loads(emberbed("runs", "list", "--json", *STORE).out)
    assert row["state"] == "interrupted"


def test_long_sentences_are_broken_between_words_in_a_terminal_only(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "30")
    for terminal in (False, True):
        monkeypatch.setattr(cli_common, "in_terminal", lambda shown=terminal: shown)
        cli_common.out_sentence(HOT)
        lines = capsys.readouterr().out.splitlines()
        assert " ".join(lines) == HOT
        assert (len(lines) > 1 and max(map(len, lines)) <= 30) == terminal
