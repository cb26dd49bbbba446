"""The server as the person starts it: its port, its store, its end."""

import json
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from websockets.sync.client import connect

from tests.page.conftest import Asking
from tests.support.command import COMMAND, environment, finish
from tests.support.profiles import hold_profile


@pytest.fixture
def started(tmp_path):
    """Return a function that starts `emberbed page` and gives its process and what it said."""
    running = []

    def start(*words):
        command = [*COMMAND, "page", "--json", "--store", str(tmp_path / "runs.sqlite"), *words]
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment()
        )
        running.append(process)
        return process, json.loads(process.stdout.readline())

    yield start
    for process in running:
        process.kill()
        process.communicate()


def test_a_port_that_is_taken_is_told(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = finish("page", "--port", port, "--store", tmp_path / "runs.sqlite")
    assert done.exit_code == 2
    assert f"Port {port}" in done.errors and "--port" in done.errors
    assert len(done.errors.strip().splitlines()) == 1


def test_the_page_opened_twice_is_told(started, tmp_path):
    _process, said = started("--port", "0")
    done = finish("page", "--port", said["port"], "--store", tmp_path / "runs.sqlite")
    assert (done.exit_code, "another emberbed page" in done.errors) == (2, True)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--speed", "fast"), "--speed"),
        (("--engine", "forth"), "--engine"),
        (("--device", "/dev/none", "--fault", "tc_open@1s"), "--fault"),
        (("--share", "0.0.0.0"), "--share"),
        (("no-such-profile.toml",), "no-such-profile.toml"),
    ],
)
def test_bad_options_are_one_sentence(tmp_path, words, told):
    done = finish("page", "--port", "0", "--store", tmp_path / "runs.sqlite", *words)
    assert (done.exit_code, told in done.errors) == (2, True)
    assert len(done.errors.strip().splitlines()) == 1


def test_a_store_that_is_none_is_told(tmp_path):
    store = tmp_path / "runs.sqlite"
    store.write_bytes(b"no database" * 200)
    done = finish("page", "--port", "0", "--store", store)
    assert (done.exit_code, "is not a run store" in done.errors) == (2, True)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no signal to one process")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_without_a_run_it_ends_at_once_and_quietly(started, number):
    process, said = started("--port", "0")
    token = said["url"].partition("#")[2]
    with connect(
        f"ws://127.0.0.1:{said['port']}/api/live",
        origin=f"http://127.0.0.1:{said['port']}",
        subprotocols=["emberbed", f"token-{token}"],
    ) as live:
        live.recv(timeout=10)
        process.send_signal(number)
        assert process.wait(10) == 0
    assert process.stderr.read() == ""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no signal to one process")
def test_it_ends_quietly_in_the_middle_of_a_rehearsal(started):
    process, said = started("--port", "0")
    asked = Asking(SimpleNamespace(**said))
    body = {"text": hold_profile(for_s=7200), "name": "long"}
    with ThreadPoolExecutor() as pool:
        answer = pool.submit(asked.post, "/api/rehearse", body)
        time.sleep(1.5)
        process.send_signal(signal.SIGINT)
        assert process.wait(20) == 0
        assert answer.result()[0] == 503
    assert process.stderr.read() == ""


def test_the_page_starts_its_own_profile_folder_beside_the_store(tmp_path, serving):
    client = serving()
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "mine.toml").write_text(hold_profile())
    names = json.loads(client.get("/api/profiles")[2])
    assert names["profiles"][0]["name"] == "mine"
    assert names["folder"] == str(tmp_path / "profiles")


def test_a_locked_store_is_told_and_nothing_is_lost(tmp_path, client):
    client.get("/api/runs")  # makes it
    held = sqlite3.connect(tmp_path / "runs.sqlite", isolation_level=None)
    held.execute("BEGIN EXCLUSIVE")
    body = {"where": "shipped", "name": "weather-logger", "board": "x",
            "confirmed": ["batteries", "plastics", "sensors", "flat", "extraction"]}  # fmt: skip
    assert client.post("/api/run", body)[0] == 202
    client.server.desk.wait(60)
    desk = client.server.feed.desk()
    held.execute("ROLLBACK")
    held.close()
    assert desk["state"] == "failed"
    assert "is held by another program" in desk["sentences"][0]


def test_heat_needs_the_confirmation(client):
    body = {"where": "shipped", "name": "weather-logger", "board": "x", "confirmed": []}
    status, _headers, said = client.post("/api/run", body)
    assert (status, "before heat" in json.loads(said)["sentences"][0]) == (409, True)
    assert client.server.feed.desk()["state"] == "idle"
