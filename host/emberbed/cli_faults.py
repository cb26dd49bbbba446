"""`--fault list`: every fault and happening of the simulated bench, with what it does.

The list is the simulation's own, asked of it as a process, as the run path never imports it.
"""

import json
import subprocess
import sys
import textwrap
from shutil import get_terminal_size
from typing import Any

import typer

from emberbed.cli_common import fail, out

LIST = "list"
LISTING = (sys.executable, "-m", "emberbed_sim.fault_list")
LISTING_S = 20.0
INDENT = "    "
FORM = (
    "Write NAME@TIME, NAME@TIME:LENGTH or NAME@TIME:LENGTH#NUMBER, such as tc_open@120s or"
    " hot_air@9min:90s#350."
)
NO_LIST = "The list of faults cannot be read: reinstall emberbed, then try again"


def list_if_asked(faults: list[str] | None) -> list[str] | None:
    """Print the list and leave where it is asked for; else give the faults back."""
    if LIST not in (faults or []):
        return faults
    columns = get_terminal_size().columns
    for row in _listed():
        out(row["name"])
        number = f" #: {row['number']}." if row["number"] else ""
        text = f"{row['does'][0].upper()}{row['does'][1:]}.{number}"
        out(textwrap.fill(text, columns, initial_indent=INDENT, subsequent_indent=INDENT))
    out(textwrap.fill(FORM, columns))
    raise typer.Exit


def _listed() -> list[dict[str, Any]]:
    try:
        said = subprocess.check_output(LISTING, text=True, timeout=LISTING_S)
        return json.loads(said)
    except (OSError, subprocess.SubprocessError, ValueError):
        fail([NO_LIST])
