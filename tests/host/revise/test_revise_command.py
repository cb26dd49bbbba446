"""The command that saves what was done: what it writes, tells and refuses."""

import json
import shutil

import pytest
from typer.testing import CliRunner

from emberbed.cli import app
from emberbed.profiles.reader import parse_profile
from emberbed.store.run_store import RunStore
from tests.host.report.hand_run import HandRun, store_hand_run

# the command


@pytest.fixture
def emberbed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def run(*words):
        done = CliRunner().invoke(app, [*map(str, words), "--store", "runs.sqlite"])
        assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
        return done

    return run


@pytest.fixture(scope="module")
def session_store(tmp_path_factory, session):
    path = tmp_path_factory.mktemp("store") / "runs.sqlite"
    with RunStore.open(path) as opened:
        store_hand_run(opened, session)
    return path


@pytest.fixture
def stored(tmp_path, session_store):
    """Put the session into the store of this test; return its number."""
    shutil.copy(session_store, tmp_path / "runs.sqlite")
    return 1


def test_the_command_writes_and_tells(emberbed, stored, tmp_path):
    done = emberbed("runs", "revise", stored, "new.toml")
    assert done.exit_code == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == 5 and lines[1].startswith("Stage 2 (hold): 1:30 instead of 1:00")
    assert lines[-1] == (
        '"Weather logger, radio chip, revision 2" is written to new.toml;'
        " check it with: emberbed check new.toml"
    )
    assert parse_profile((tmp_path / "new.toml").read_bytes(), "new").model.name.endswith("2")
    again = emberbed("runs", "revise", stored, "new.toml")
    assert again.exit_code == 2
    assert again.stderr.strip() == "new.toml is there already: name a new file"


def test_the_command_as_json(emberbed, stored):
    told = json.loads(emberbed("runs", "revise", "last", "new.toml", "--json").stdout)
    assert told["run"] == stored and told["file"] == "new.toml" and len(told["changed"]) == 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("1", "nowhere/new.toml"), "nowhere/new.toml cannot be written"),
        (("9", "new.toml"), "has no run 9"),
        (("1", "."), ". "),
    ],
)
def test_the_command_refuses_in_one_sentence(emberbed, stored, words, said):
    done = emberbed("runs", "revise", *words)
    assert done.exit_code == 2 and said in done.stderr.replace("\\", "/")
    assert len(done.stderr.strip().splitlines()) == 1


def test_the_command_says_that_nothing_was_changed(emberbed, tmp_path):
    run = HandRun().start().seconds(5)
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        store_hand_run(opened, run, end=("stopped", 4))
    done = emberbed("runs", "revise", "1", "new.toml")
    assert done.exit_code == 2 and not (tmp_path / "new.toml").exists()
    assert done.stderr.strip() == (
        "Nothing was changed in run 1, its profile can be used as it is."
    )


def test_show_as_json_tells_what_people_did(emberbed, stored):
    told = json.loads(emberbed("runs", "show", stored, "--json").stdout)
    assert [mark["mark"] for mark in told["marks"]] == [
        "FLUX_ON", "NOZZLE_ON", "SOLDER_MOVES", "CHIP_OFF", "AIR_AWAY",
    ]  # fmt: skip
    touches = [(touch["touch"], touch["stage"], touch["source"]) for touch in told["touches"]]
    assert touches[:3] == [
        ("HOLD_HERE", 1, "TERMINAL"), ("GO_ON", 1, "TERMINAL"), ("EXTEND", 2, "PAGE"),
    ]  # fmt: skip
    assert ("NEXT_STAGE", 5, "TERMINAL") in touches
    assert told["work"]["touches"] == 6 and told["work"]["marks"] == 5
    assert told["linked_to"] is None and told["goes_on_as"] is None
    assert told["ending"][1] == f"Save what you did: emberbed runs revise {stored} NEW.toml"
    assert told["work"]["above_liquidus_sensor"] == "chip_top"
