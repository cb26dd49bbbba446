"""The two commands in process, in an empty folder."""

import pytest
import typer
from typer.testing import CliRunner

from emberbed import cli_heater


@pytest.fixture
def heater_command(tmp_path, monkeypatch):
    """Return a function that runs `identify ...` or `tune ...` and gives what came of it."""
    monkeypatch.chdir(tmp_path)
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(cli_heater.identify)
    app.command()(cli_heater.tune)

    def run(*words):
        result = CliRunner().invoke(app, [str(word) for word in words])
        crashed = result.exception is not None and not isinstance(result.exception, SystemExit)
        assert not crashed, f"a traceback came out: {result.exception!r}"
        return result

    return run


@pytest.fixture
def refused(heater_command):
    """Return a function that runs a command which must be refused, and gives its one sentence."""

    def run(*words):
        result = heater_command(*words)
        assert result.exit_code == 2, result.output
        assert result.stdout == ""
        (sentence,) = result.stderr.splitlines()
        return sentence

    return run
