"""The log for reports of faults: on request only, turning over, nobody named."""

import getpass
import logging
import platform
from pathlib import Path

import pytest

from emberbed import log_file
from emberbed.cli_common import watched
from tests.support.command import finish


@pytest.fixture
def logging_to(tmp_path):
    """Return a function that begins a log and gives its file."""
    before = list(log_file.LOGGER.handlers)

    def begin(verbose=False):
        return log_file.begin(tmp_path / "own" / "log.txt", verbose, "check")

    yield begin
    for handler in set(log_file.LOGGER.handlers) - set(before):
        log_file.LOGGER.removeHandler(handler)
        handler.close()
    log_file.LOGGER.setLevel(logging.NOTSET)
    log_file.LOGGER.propagate = True


def test_a_refused_command_stands_in_its_log_with_its_end(tmp_path):
    place = tmp_path / "log.txt"
    done = finish("--log", place, "check", "no-such-profile")
    said = place.read_text(encoding="utf-8").splitlines()
    assert done.exit_code == 2
    assert said[0].endswith(": check") and said[-1].endswith("ends with 2")
    assert any(done.errors.splitlines()[0][:40] in line for line in said[1:-1])


def test_verbose_says_where_and_tells_of_connections(tmp_path):
    homes = dict.fromkeys(("HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME", "LOCALAPPDATA"), tmp_path)
    done = finish(
        "--verbose", "device", "info", **{name: str(path) for name, path in homes.items()}
    )
    (place,) = tmp_path.rglob("emberbed.log")
    assert done.exit_code == 0 and f"note: the log is {place}" in done.errors
    assert "emberbed.link.device socket://127.0.0.1:" in place.read_text(encoding="utf-8")


def test_without_being_asked_nothing_is_logged(tmp_path):
    homes = {"HOME": str(tmp_path), "XDG_STATE_HOME": str(tmp_path), "LOCALAPPDATA": str(tmp_path)}
    assert finish("profiles", **homes).exit_code == 0
    assert list(tmp_path.rglob("*.log")) == []


def test_a_place_that_cannot_be_written_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    done = finish("--log", tmp_path / "file" / "log", "profiles")
    assert done.exit_code == 2 and "name another file with --log" in done.errors


def test_nobody_is_named(logging_to):
    place = logging_to()
    names = [str(Path.home()), platform.node(), getpass.getuser()]
    log_file.LOGGER.info("%s/runs.sqlite on %s of %s", *names)
    said = place.read_text(encoding="utf-8")
    kept = [name for name in names if len(name) >= log_file.LEAST_NAME]
    assert kept and not any(name in said for name in kept)
    assert "~/runs.sqlite on " in said


def test_a_fault_of_our_own_is_told_without_its_words(logging_to):
    place = logging_to()
    with pytest.raises(RuntimeError), watched():
        raise RuntimeError("the customer's name")
    said = place.read_text(encoding="utf-8")
    assert "broke off: RuntimeError at test_log_file.py:" in said and "customer" not in said


def test_a_long_log_turns_over_and_keeps_its_size(logging_to, monkeypatch):
    monkeypatch.setattr(log_file, "MOST_BYTES", 1000)
    place = logging_to()
    for number in range(400):
        log_file.LOGGER.info("line %d", number)
    files = list(place.parent.iterdir())
    assert len(files) == log_file.OLDER_FILES + 1
    assert all(file.stat().st_size <= 1000 for file in files)
    assert "line 399" in place.read_text(encoding="utf-8")
