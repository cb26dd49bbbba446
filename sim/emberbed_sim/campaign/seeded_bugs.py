"""Broken firmware that the campaign must find out: proof that the harness sees.

Each bug of seeded_bugs.toml is put into a copy of the installed firmware, which then runs its few
cells in a process of its own, in place of the right one. Found = at least one of them is a miss.
As a program (`python -m emberbed_sim.campaign.seeded_bugs NAME`): does that process's part.
"""

import json
import os
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, NamedTuple

from emberbed.firmware_sources import PACKAGE, firmware_folder, read_sources
from emberbed_sim.campaign.cells import run_cell
from emberbed_sim.campaign.healthy import run_healthy
from emberbed_sim.campaign.pairs import pairs, run_pair
from emberbed_sim.campaign.phases import PhaseError
from emberbed_sim.campaign.table import cells

MODULE = "emberbed_sim.campaign.seeded_bugs"
LONGEST_S = 300.0


class BugError(ValueError):
    """A bug does not fit the firmware or the table; one sentence."""


class Bug(NamedTuple):
    """A defect, and what must find it."""

    name: str
    file: str
    old: str
    new: str
    cells: list[str]
    pairs: list[str] = []
    healthy: list[int] = []
    seeds: list[int] = [0]


class Found(NamedTuple):
    """Whether a bug was found, and by what."""

    name: str
    found: bool
    by: str


@cache
def bugs() -> tuple[Bug, ...]:
    """Return all of them. Raises BugError."""
    text = (files("emberbed_sim.campaign") / "seeded_bugs.toml").read_text(encoding="utf-8")
    known = {cell.name for cell in cells()}
    found = tuple(Bug(**row) for row in tomllib.loads(text)["bug"])
    for bug in found:
        for name in bug.cells:
            if name not in known:
                raise BugError(f"Bug '{bug.name}' names the cell '{name}', which is not there.")
    return found


def broken(bug: Bug) -> dict[str, bytes]:
    """Return the firmware's sources with this bug. Raises BugError."""
    sources = read_sources(firmware_folder())
    text = sources[bug.file].decode()
    if text.count(bug.old) != 1:
        raise BugError(
            f"Bug '{bug.name}' fits {bug.file} {text.count(bug.old)} times: its text must occur"
            " once."
        )
    return {**sources, bug.file: text.replace(bug.old, bug.new).encode()}


def hunt(bug: Bug) -> Found:
    """Run the bug's cells on the broken firmware, in a process of its own."""
    with tempfile.TemporaryDirectory(prefix="emberbed-") as folder:
        for name, content in broken(bug).items():
            path = Path(folder, PACKAGE, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        said = subprocess.run(
            [sys.executable, "-B", "-m", MODULE, bug.name, folder],
            capture_output=True, text=True, timeout=LONGEST_S, check=False,
            env={**os.environ, "PYTHONPATH": folder},
        )  # fmt: skip
    if said.returncode != 0:
        last = said.stderr.strip().splitlines()
        return Found(bug.name, False, f"it could not run: {last[-1] if last else 'no word'}")
    answer: dict[str, Any] = json.loads(said.stdout)
    return Found(bug.name, bool(answer["by"]), answer["by"])


def misses(bug: Bug) -> Iterator[str]:
    """Yield what the firmware of this process gets wrong in the bug's cells."""
    by_name = {f"{pair.first.row} {pair.first.phase} then {pair.second}": pair for pair in pairs()}
    for seed in bug.seeds:
        for cell in cells():
            if cell.name in bug.cells:
                result = run_cell(cell, seed)
                if result.miss:
                    yield f"{cell.name}: {result.miss}"
        for name in bug.pairs:
            if wrong := run_pair(by_name[name], seed).miss:
                yield f"{name}: {wrong}"
    for seed in bug.healthy:
        if wrong := run_healthy(seed).miss:
            yield f"healthy {seed}: {wrong}"


def main(name: str, folder: str) -> None:
    """Say as JSON what finds this bug, with the firmware of this process."""
    if not firmware_folder().is_relative_to(folder):
        raise BugError(f"The firmware of {firmware_folder()} runs, not the broken one.")
    (bug,) = [bug for bug in bugs() if bug.name == name]
    try:
        by = next(misses(bug), "")
    except PhaseError as error:
        by = str(error)
    sys.stdout.write(json.dumps({"by": by}))


if __name__ == "__main__":
    main(*sys.argv[1:])
