"""Standard output that takes nothing: one sentence, no traceback, and a run keeps its exit code."""

import errno
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from emberbed import cli_common, cli_run, cli_runs, cli_runs_files
from emberbed.bench.outcome import OUTCOMES
from emberbed_fw import run_states as rs
from tests.support.parts import need

FULL = Path("/dev/full")  # takes no byte: full(4) of Linux
COMMANDS = [["profiles"], ["runs", "list"], ["runs", "export"], ["rehearse", "weather-logger"]]


def emberbed_child(words, tmp_path, **streams):
    environment = {**os.environ, "EMBERBED_STORE": str(tmp_path / "runs.sqlite")}
    environment["PYTHONPATH"] = os.pathsep.join(sys.path)
    return subprocess.run(
        [sys.executable, "-m", "emberbed.cli", *words],
        env=environment,
        stdin=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
        **streams,
    )


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_a_full_disk_is_one_sentence(store, tmp_path, words):
    need("/dev/full", FULL.exists(), "only Linux has it")
    store()
    with FULL.open("w") as full:
        ended = emberbed_child(words, tmp_path, stdout=full)
    (sentence,) = ended.stderr.splitlines()
    assert sentence.startswith("Standard output cannot be written (")
    assert ended.returncode == 2


@pytest.mark.parametrize("failure", [errno.ENOSPC, errno.EPIPE])
def test_a_run_keeps_its_exit_code_when_nobody_reads(emberbed, monkeypatch, tmp_path, failure):
    ended = SimpleNamespace(
        run_id=7,
        outcome=OUTCOMES[rs.TRIPPED],
        limits_exceeded=0,
        page=tmp_path / "run-7.html",
        page_failed=None,
        ending=["Tripped."],
        earlier=(),
    )
    monkeypatch.setattr(cli_run, "run_profile", lambda *_arguments: ended)
    forgotten = []
    for module in (cli_run, cli_common):
        monkeypatch.setattr(module, "forget_output", lambda: forgotten.append(True))

    def full(*_arguments, err=False):
        if not err:
            raise OSError(failure, os.strerror(failure))

    monkeypatch.setattr(cli_common.typer, "echo", full)
    assert emberbed("run", "label-printer", "--press").exit_code == 3
    assert forgotten


def test_without_standard_output_the_list_is_silent_and_the_export_asks_for_a_file(
    emberbed, store, monkeypatch
):
    store()
    monkeypatch.setattr(sys, "stdout", None)
    with pytest.raises(cli_common.typer.Exit), cli_common.told():
        cli_runs_files.export(store=Path("runs.sqlite"))
    cli_runs.list_runs(store=Path("runs.sqlite"))
