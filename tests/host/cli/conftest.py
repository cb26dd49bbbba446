"""The command in process: no child, no terminal, no default store of this machine."""

from dataclasses import dataclass
from types import SimpleNamespace

import pytest
from serial.urlhandler import protocol_socket
from typer.testing import CliRunner

from emberbed.cli import app
from emberbed.link.device import Device
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import drawn_record, facts


@dataclass(frozen=True)
class Said:
    """What a command said and how it ended."""

    exit_code: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        return self.err.splitlines()


@pytest.fixture
def emberbed(tmp_path, monkeypatch):
    """Return a function that runs `emberbed WORDS` in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EMBERBED_STORE", str(tmp_path / "default.sqlite"))

    def run(*words):
        result = CliRunner().invoke(app, [str(word) for word in words], prog_name="emberbed")
        crashed = result.exception is not None and not isinstance(result.exception, SystemExit)
        assert not crashed, f"a traceback came out: {result.exception!r}"
        return Said(result.exit_code, result.stdout, result.stderr)

    return run


@pytest.fixture
def impatient(monkeypatch):
    """Let connecting give up early, and pyserial not sleep after closing a socket."""
    connect = Device.connect.__func__
    monkeypatch.setattr(
        Device, "connect", classmethod(lambda cls, url: connect(cls, url, 1.0, answer_s=0.2))
    )
    monkeypatch.setattr(protocol_socket, "time", SimpleNamespace(sleep=lambda _seconds: None))


@pytest.fixture
def store(tmp_path):
    """Return a function that adds a finished run to the store `runs.sqlite`."""

    def make(**changes):
        with RunStore.open(tmp_path / "runs.sqlite") as opened:
            run_id = opened.begin_run(facts(**changes))
            for first in (100, 110, 125):  # 120 to 124 are missing
                opened.append(run_id, [drawn_record(tick) for tick in range(first, first + 10)])
            opened.add_event(run_id, None, "note", "Before the first record.")
            opened.add_event(run_id, 115, "stage", "Stage 1 of 4: ramp to 90 °C.")
            opened.end_run(run_id, "finished", 0, limits_exceeded=1)
        return run_id

    return make
