"""Replay a stored run in an interpreter of its own, and read what its player says.

Every interpreter gets the same tape and the same player (player.py), in a child process that knows
nothing of this one but the firmware's folder.
"""

import importlib.util
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from emberbed.replay import player
from emberbed.replay.firmware import CannotReplay, firmware_of
from emberbed.replay.tape import write_tape
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun

CPYTHON, MICROPYTHON = "CPython", "MicroPython"
HEAP = "1M"  # a player and its blocks beside the firmware
START_S, LONGEST_TICK_S = 60.0, 0.02  # what a child may take at all, on a busy machine


@dataclass(frozen=True)
class Span:
    """Ticks `first` to `last`, both included. `why` it is not proven, '' where all was equal;
    `thinned`: of them only so many were recorded."""

    first: int
    last: int
    why: str = ""
    thinned: int | None = None

    @property
    def ticks(self) -> int:
        return self.last + 1 - self.first if self.thinned is None else self.thinned


@dataclass(frozen=True)
class Difference:
    """The first thing in a span that was not equal. `field` '' and `replayed` the exception's name
    where the firmware failed."""

    tick: int
    field: str
    recorded: str
    replayed: str


@dataclass(frozen=True)
class Replayed:
    """What one interpreter made of a run."""

    interpreter: str
    spans: tuple[Span, ...]
    differences: tuple[Difference, ...]

    @property
    def equal_ticks(self) -> int:
        return sum(span.ticks for span in self.spans if not span.why)

    @property
    def unproven(self) -> list[Span]:
        """Return them; what follows one another for the same reason is one."""
        joined: list[Span] = []
        for why, group in groupby(self.spans, lambda span: span.why):
            spans = list(group)
            if len(spans) == 1:
                joined += spans if why else []
            elif why:
                readings = sum(span.ticks for span in spans)
                joined.append(Span(spans[0].first, spans[-1].last, why, readings))
        return joined


def interpreters() -> list[str]:
    """Return the interpreters that are here."""
    has_micropython = importlib.util.find_spec("micropython_unix") is not None
    return [CPYTHON, MICROPYTHON] if has_micropython else [CPYTHON]


def replay_run(
    store: RunStore, run: StoredRun, wanted: Iterable[str], own_store: bool = False
) -> list[Replayed]:
    """Replay a run in each of these interpreters. Raises CannotReplay, StoreError."""
    with firmware_of(store, run, own_store) as root, tempfile.TemporaryDirectory() as folder:
        tape = Path(folder) / "run.tape"
        try:
            with tape.open("wb") as stream:
                ticks = write_tape(
                    stream, run.settings, run.plan, run.trip_counts or b"",
                    store.raw_records(run.id), store.snapshots(run.id),
                )  # fmt: skip
        except OSError as error:
            raise CannotReplay(
                f"Run {run.id} cannot be laid out for a replay in {folder} ({error.strerror}): free"
                " some space there"
            ) from None
        children = [(name, _start(name, root, tape)) for name in wanted]
        try:
            longest_s = START_S + ticks * LONGEST_TICK_S
            return [_read(name, child, longest_s) for name, child in children]
        finally:
            for _name, child in children:
                child.kill()
                child.wait()
                if child.stdout:
                    child.stdout.close()


def _start(interpreter: str, root: Path, tape: Path) -> "subprocess.Popen[str]":
    script = [str(Path(player.__file__)), str(tape)]
    if interpreter == MICROPYTHON:
        command = [sys.executable, "-m", "micropython_unix", "-X", f"heapsize={HEAP}", *script]
        paths = {"MICROPYPATH": str(root)}
    else:
        command = [sys.executable, "-B", *script]
        paths = {"PYTHONPATH": str(root)}
    environment: dict[str, Any] = {**os.environ, **paths}
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
    )


def _read(interpreter: str, child: "subprocess.Popen[str]", longest_s: float) -> Replayed:
    try:
        said, _nothing = child.communicate(timeout=longest_s)
    except subprocess.TimeoutExpired:
        raise CannotReplay(f"The replay in {interpreter} does not end: try it again") from None
    lines = said.splitlines()
    if not lines or not lines[-1].startswith("end "):
        last = next((line for line in reversed(lines) if line.strip()), "without a word")
        raise CannotReplay(f"The replay in {interpreter} broke off ({last.strip()})")
    return parsed(interpreter, lines[:-1])


def parsed(interpreter: str, lines: Iterable[str]) -> Replayed:
    """Return what a player's lines say."""
    spans, differences = [], []
    for line in lines:
        kind, *words = line.split(" ")
        if kind == "equal":
            spans.append(Span(int(words[0]), int(words[1])))
        elif kind == "unproven":
            spans.append(Span(int(words[0]), int(words[1]), words[2]))
        elif kind == "differs":
            differences.append(Difference(int(words[0]), *words[1:]))
        elif kind == "failed":
            differences.append(Difference(int(words[0]), "", "", words[1]))
    return Replayed(interpreter, tuple(spans), tuple(differences))
