"""What a command loads before it does anything: the list of modules, not the time.

`python -X importtime -m emberbed.cli --help` shows what each costs.
"""

import json
import subprocess
import sys

import pytest
import typer

from emberbed.cli import COMMANDS, app

SAY = """
import json, sys
from emberbed import cli
sys.argv = ["emberbed", *json.loads(sys.argv[1])]
try:
    cli.main()
except SystemExit as left:
    code = left.code
print(json.dumps([code, sorted(sys.modules)]), file=sys.stderr)
"""
# of our own, all that the list of commands may stand on
LISTED = {
    "emberbed",
    "emberbed.cli",
    "emberbed.cli_common",
    "emberbed.cli_late",
    "emberbed.plain_text",
    "emberbed.bench",
    "emberbed.bench.outcome",  # the exit codes
    "emberbed.store",
    "emberbed.store.chain",
    "emberbed.store.runs",
}
SLOW = {"scipy", "matplotlib", "clarabel", "dask", "distributed", "starlette", "uvicorn", "pyarrow"}


def loaded(*words: str) -> set[str]:
    said = subprocess.run(
        [sys.executable, "-c", SAY, json.dumps(words)],
        capture_output=True, text=True, timeout=60, check=True,
    ).stderr  # fmt: skip
    code, modules = json.loads(said.splitlines()[-1])
    assert code == 0
    return set(modules)


def packages(modules: set[str]) -> set[str]:
    return {module.split(".")[0] for module in modules}


def test_the_list_of_commands_loads_no_command():
    modules = loaded("--help")
    assert not packages(modules) & (SLOW | {"numpy", "pydantic", "serial"})
    assert {one for one in modules if one.split(".")[0] == "emberbed"} == LISTED


def test_check_loads_what_it_judges_with():
    modules = loaded("check", "label-printer")
    assert not packages(modules) & SLOW
    assert not [one for one in modules if one.startswith(("emberbed.page", "emberbed.jobs"))]


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_is_listed_with_its_own_line(name):
    command = typer.main.get_command(app).commands[name]
    assert (command.name, command.help.split("\n\n")[0]) == (name, COMMANDS[name].line)


def test_every_command_is_in_the_list():
    assert list(typer.main.get_command(app).commands) == list(COMMANDS)
