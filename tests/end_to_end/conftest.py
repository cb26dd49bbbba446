"""Runs that many tests look at: each is made once, by the command as a process."""

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.support.command import Finished, Tape, finish, stored
from tests.support.profiles import PROMPT, hold_profile


@dataclass(frozen=True)
class Ran:
    """One `emberbed run` with what it left behind."""

    done: Finished
    store: Path
    tape: Tape


@pytest.fixture(scope="session")
def make_run(tmp_path_factory):
    """Return a function that makes a run in a store of its own, as fast as it goes."""

    def make(profile: object, *words: object) -> Ran:
        store = tmp_path_factory.mktemp("run") / "runs.sqlite"
        given = ("--speed", "max", "--press", "--store", store, *words)
        done = finish("run", profile, *given)
        assert store.exists(), done.said
        return Ran(done, store, stored(store))

    return make


@pytest.fixture(scope="session")
def short_profile(tmp_path_factory) -> Path:
    """Return a profile file: 60 °C, a minute, one prompt."""
    path = tmp_path_factory.mktemp("profile") / "short.toml"
    path.write_text(hold_profile(for_s=60, prompt=PROMPT), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def long_profile(tmp_path_factory) -> Path:
    """Return a profile file that holds 60 °C for two hours: there is time to interrupt it."""
    path = tmp_path_factory.mktemp("profile") / "long.toml"
    path.write_text(hold_profile(for_s=7200), encoding="utf-8")
    return path


@pytest.fixture
def device(request):
    """A virtual device with a port of its own: (url, a function that speaks to its bench).

    Its speed may be given as the fixture's parameter.
    """
    speed = getattr(request, "param", "20")
    command = [sys.executable, "-m", "emberbed_sim.virtual_device", "--speed", speed]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin and process.stdout
        url = json.loads(process.stdout.readline())["url"]

        def tell(line):
            process.stdin.write(f"{line}\n")
            process.stdin.flush()

        try:
            yield url, tell
        finally:
            process.stdin.close()
            process.wait(10)
