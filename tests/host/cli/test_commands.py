"""The other commands in process: check, rehearse, profiles, device info, what a run tells."""

import json
import struct
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from types import SimpleNamespace

import pytest

from emberbed import cli_run
from emberbed.bench import session
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.prepare import NotReady, load_profile
from emberbed.bench.session import RecordFailed, RunResult
from emberbed.bench.virtual import engine_notes
from emberbed.profiles.shipped import shipped_names
from emberbed_fw import run_states as rs

RUN = ("run", "label-printer", "--press")


def test_the_version(emberbed):
    from emberbed import __version__

    assert emberbed("--version").out == f"emberbed {__version__}\n"


def test_help_without_a_command(emberbed):
    said = emberbed()
    assert "Commands" in said.out and said.err == ""


def test_profiles(emberbed):
    said = emberbed("profiles").out
    listed = json.loads(emberbed("profiles", "--json").out)
    assert [one["name"] for one in listed] == shipped_names()
    printer = next(one for one in listed if one["name"] == "label-printer")
    # label-printer.toml: its highest ramp is 135 °C; ramps of 112 °C at 0.3 °C/s from 23 °C, holds
    # of 180 + 120 + 120 s: 793 s
    assert (printer["peak_c"], printer["heating_min"]) == (135, 13)
    for one in listed:
        assert Path(one["file"]).read_text(encoding="utf-8").count(one["title"]) == 1
        assert one["file"] in said and f"{one['name']}: {one['title']}" in said
    assert "up to 135 °C, 13 min of heating" in said


@pytest.mark.parametrize("name", shipped_names())
def test_shipped_profiles_check_well(emberbed, name):
    said = emberbed("check", name)
    assert said.exit_code == 0
    *found, verdict = said.out.splitlines()
    assert all(line.startswith(("note: ", "warning: ")) for line in found)
    assert verdict.startswith(f"{name}.toml may run: no errors, no warnings")
    for found in json.loads(emberbed("check", name, "--json").out):
        assert {"severity", "line", "stage", "sentence", "value", "limit", "source"} < set(found)
        assert found["severity"] != "error"


def test_a_rehearsal_with_a_picture(emberbed, tmp_path):
    said = emberbed("rehearse", "weather-logger", "--picture", "curve.svg")
    assert said.exit_code == 0
    assert "Finished: every stage ran to its end." in said.out
    picture = ElementTree.parse(tmp_path / "curve.svg").getroot()
    assert picture.tag.endswith("svg")


def test_a_rehearsal_as_json(emberbed):
    answer = json.loads(emberbed("rehearse", "weather-logger", "--json").out)
    assert answer["state"] == "finished"


def test_device_info(emberbed):
    answer = json.loads(emberbed("device", "info", "--json").out)
    assert answer["state"] == "ready, nothing loaded"
    assert answer["channels"][0].startswith("0: top_near_chip, MAX31855K")
    assert answer["zones"] == ["0: 1000 W"]
    assert answer["runs in"] in ("MicroPython", "CPython")
    assert len(bytes.fromhex(answer["fingerprint"])) == 8


# a run, with its inside replaced: what is told, and with which exit code


@pytest.fixture
def result(tmp_path):
    return RunResult(7, OUTCOMES[rs.FINISHED], 0, tmp_path / "run-7.html", None, ["Finished."])


def replace_run(monkeypatch, does):
    monkeypatch.setattr(cli_run, "run_profile", lambda *_arguments: does())


@pytest.mark.parametrize(
    ("state", "code"), [(rs.FINISHED, 0), (rs.TRIPPED, 3), (rs.STOPPED, 4), (rs.LINK_LOST, 5)]
)
def test_each_end_has_its_exit_code_and_its_sentences_last(
    emberbed, monkeypatch, tmp_path, state, code
):
    ending = ["Tripped: the switch is stuck.", "It stays hot."]
    ended = RunResult(7, OUTCOMES[state], 0, tmp_path / "run-7.html", None, ending)
    replace_run(monkeypatch, lambda: ended)
    said = emberbed(*RUN)
    assert said.exit_code == code
    assert said.out.splitlines()[-2:] == ending
    assert f"Run 7 is stored; its page: {tmp_path / 'run-7.html'}" in said.out
    answer = json.loads(emberbed(*RUN, "--json").out)
    assert (answer["exit_code"], answer["state"]) == (code, OUTCOMES[state].state)
    assert answer["ending"] == ending


def test_a_page_that_failed_costs_no_verdict(emberbed, monkeypatch, tmp_path):
    page = tmp_path / "run-7.html"
    failed = f"{page} cannot be written (disk full)"
    ended = RunResult(7, OUTCOMES[rs.FINISHED], 2, page, failed, ["2 limits exceeded."])
    replace_run(monkeypatch, lambda: ended)
    said = emberbed(*RUN)
    assert said.exit_code == 0
    assert "2 limits exceeded." in said.out
    assert said.err.strip() == f"{page} cannot be written (disk full)"
    assert json.loads(emberbed(*RUN, "--json").out)["page"] is None


def test_a_record_that_failed_in_the_middle_is_no_refusal(emberbed, monkeypatch):
    def fails():
        raise RecordFailed("runs.sqlite cannot grow. The record breaks off there")

    replace_run(monkeypatch, fails)
    said = emberbed(*RUN)
    assert said.exit_code == 5
    assert said.err.strip() == "runs.sqlite cannot grow. The record breaks off there"


def test_ctrl_c_before_the_start_is_a_stop_by_a_person(emberbed, monkeypatch):
    def interrupted():
        raise KeyboardInterrupt

    replace_run(monkeypatch, interrupted)
    said = emberbed(*RUN)
    assert said.exit_code == 4
    assert said.err.strip() == "Stopped before the start: nothing was heated"


def test_in_a_terminal_nobody_has_to_press_by_script(emberbed, monkeypatch, result):
    request = SimpleNamespace(virtual=object(), scripted=False, watcher=None)
    with pytest.raises(NotReady):
        session._need_hand(request)
    monkeypatch.setattr(session, "sys", SimpleNamespace(stdin=SimpleNamespace(isatty=lambda: True)))
    session._need_hand(request)
    replace_run(monkeypatch, lambda: result)
    assert emberbed("run", "label-printer").exit_code == 0


# the engine


def test_falling_back_to_cpython_is_said_aloud():
    """Nobody asked for another interpreter than that of real devices, and got one."""
    assert engine_notes("auto", "CPython") == [
        "MicroPython is not installed here, so the virtual device runs the same firmware in CPython"
    ]


@pytest.mark.parametrize("got", [("auto", "MicroPython"), ("cpython", "CPython")])
def test_the_interpreter_that_was_meant_needs_no_word(got):
    assert engine_notes(*got) == []


def test_notes_are_told_before_the_run(monkeypatch, capsys):
    from rich.console import Console

    from emberbed.link.events import read_greeting
    from emberbed_fw.messages import HELLO_REPLY
    from emberbed_sim.bench_device import bench_settings
    from emberbed_sim.plant.parameters import BenchParameters

    settings = bench_settings(BenchParameters())
    greeting = read_greeting(bytes(struct.calcsize(HELLO_REPLY)))
    device = SimpleNamespace(read_settings=lambda: settings, url="x", greeting=greeting)
    virtual = SimpleNamespace(notes=["MicroPython is not installed here"])
    request = SimpleNamespace(asked=load_profile("label-printer"), acts=(), heater=None)
    session._prepare(request, device, virtual, Console())
    assert "note: MicroPython is not installed here" in capsys.readouterr().out


# runs that went on


def test_all_runs_of_a_command_are_told(emberbed, monkeypatch, tmp_path):
    page = tmp_path / "run-9.html"
    ended = RunResult(9, OUTCOMES[rs.FINISHED], 0, page, None, ["Finished."], (7, 8))
    replace_run(monkeypatch, lambda: ended)
    said = emberbed(*RUN)
    assert said.exit_code == 0
    assert f"Run 9 goes on with runs 7 and 8; all are stored, its page: {page}" in said.out
    assert json.loads(emberbed(*RUN, "--json").out)["goes_on_with"] == [7, 8]


# the touch test


def test_the_touch_test_names_the_channel_under_the_finger(emberbed):
    said = emberbed("device", "touch", "--for", "6s", "--finger", "1", "--json")
    assert said.exit_code == 0, said.err
    answer = json.loads(said.out)
    assert answer["channel"] == "edge"
    # a finger has 33 °C and more, the virtual bench 23 °C; a bead under tape takes 1.5 s
    assert 3 < answer["rises_c"]["edge"] < 12
    assert abs(answer["rises_c"]["top_near_chip"]) < 1
    assert answer["told"].startswith("The finger warmed edge (channel 1, by ")


def test_the_touch_test_says_when_nothing_was_touched(emberbed):
    said = emberbed("device", "touch", "--for", "3s")
    assert said.exit_code == 2 and said.out == ""
    ask, told = said.lines
    assert ask.startswith("Lay a finger on one sensor's bead")
    assert told.startswith("No sensor got warmer")
