"""The firmware by MicroPython's own package tool: the list is in step, and what it brings runs."""

import json
import subprocess
import sys

from emberbed.install.into_service import greeting_of
from emberbed.install.remote import Remote
from emberbed_fw import run_states as rs
from tests.install.board import Board
from tests.install.package_json import PACKAGE_JSON, package_json
from tests.support.parts import PROJECT
from tests.support.plans import bench_settings

PUT = """
import os
os.mkdir("/emberbed")
os.mkdir("/emberbed/by-hand")
for name, told in given.items():
    with open("/emberbed/by-hand/" + name, "wb") as target:
        target.write(bytes(told))
with open("/main.py", "w") as target:
    target.write("from emberbed_fw.start_up import start\\n\\nstart()\\n")
answer = True
"""


def test_list_is_in_step_with_the_sources():
    assert PACKAGE_JSON.read_text(encoding="utf-8") == package_json()
    for _there, here in json.loads(package_json())["urls"]:
        assert (PROJECT / here).is_file()


def test_what_the_package_tool_installs_runs(tmp_path, wanted):
    with Board(tmp_path) as board:
        command = [sys.executable, "-m", "mpremote", "connect", board.port, "resume", "mip"]
        done = subprocess.run(
            [*command, "install", "--no-mpy", "./package.json"],
            cwd=PROJECT, capture_output=True, text=True, timeout=300,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        given = {"device": list(bench_settings(has=0)), "wiring": list(wanted.wiring)}
        remote = Remote(board.port)
        assert remote.ask(PUT, given=given)
        remote.reset()
        assert greeting_of(board.port).state == rs.IDLE
