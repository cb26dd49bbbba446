"""The command `emberbed` as a process, and what it left in the run store.

`finish` waits for its end, `Started` leaves it running to be interrupted or killed. Nothing here
waits without an end.
"""

import json
import os
import queue
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from emberbed.records import TickRecord, decode_record
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunEvent, StoredRun

LONGEST_S = 240.0  # a run takes some 6 s on two idle cores, and ten times that on busy ones
COMMAND = [sys.executable, "-m", "emberbed.cli"]


@dataclass(frozen=True)
class Finished:
    """An ended command."""

    exit_code: int
    output: str
    errors: str
    wall_s: float

    @property
    def said(self) -> str:
        return self.output + self.errors


def environment(**more: str) -> dict[str, str]:
    """Return this process's environment without what would change the output."""
    dropped = ("NO_COLOR", "FORCE_COLOR", "EMBERBED_STORE")
    kept = {name: value for name, value in os.environ.items() if name not in dropped}
    return {**kept, "PYTHONIOENCODING": "utf-8", **more}


def finish(*words: object, **more: str) -> Finished:
    """Run `emberbed WORDS` to its end."""
    began_s = time.monotonic()
    done = subprocess.run(
        [*COMMAND, *map(str, words)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=LONGEST_S,
        env=environment(**more),
    )
    output = done.stdout.decode("utf-8", "replace").replace("\r\n", "\n")
    errors = done.stderr.decode("utf-8", "replace").replace("\r\n", "\n")
    return Finished(done.returncode, output, errors, time.monotonic() - began_s)


class Started:
    """A running command; leave its `with` and it is gone."""

    def __init__(self, *words: object) -> None:
        self.process = subprocess.Popen(
            [*COMMAND, *map(str, words)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env=environment(PYTHONUNBUFFERED="1"),
        )
        self.lines: list[str] = []
        self._arriving: queue.Queue[str | None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self) -> "Started":
        return self

    def __exit__(self, *_error: object) -> None:
        self.process.kill()
        self.process.wait()
        self._reader.join()
        assert self.process.stdout
        self.process.stdout.close()

    @property
    def said(self) -> str:
        return "\n".join(self.lines)

    def until(self, wanted: str, longest_s: float = LONGEST_S) -> str:
        """Read lines until one holds `wanted`; return that."""
        end_s = time.monotonic() + longest_s
        while True:
            try:
                line = self._arriving.get(timeout=max(0.0, end_s - time.monotonic()))
            except queue.Empty:
                line = None
            if line is None:
                raise AssertionError(f"{wanted!r} was not said, but:\n{self.said}")
            self.lines.append(line)
            if wanted in line:
                return line

    def end(self, longest_s: float = LONGEST_S) -> int:
        """Wait for the end; return the exit code."""
        exit_code = self.process.wait(longest_s)
        self._reader.join()
        while (line := self._arriving.get()) is not None:
            self.lines.append(line)
        return exit_code

    def _read(self) -> None:
        assert self.process.stdout
        for line in self.process.stdout:
            self._arriving.put(line.decode("utf-8", "replace").rstrip())
        self._arriving.put(None)


@dataclass(frozen=True)
class Tape:
    """A stored run, read whole."""

    run: StoredRun
    raw: list[bytes]
    records: list[TickRecord]
    events: list[RunEvent]
    gaps: int
    audit: list[str]

    def sentences(self) -> str:
        return "\n".join(event.sentence for event in self.events)


def stored(store: Path, run: int | str = "last") -> Tape:
    """Read one run of a store."""
    with RunStore.open(store, create=False) as opened:
        found = opened.run(run)
        raw = list(opened.raw_records(found.id))
        return Tape(
            found,
            raw,
            [decode_record(octets) for octets in raw],
            opened.events(found.id),
            len(opened.gaps(found.id)),
            opened.audit(found.id),
        )


def listed(store: Path) -> list[dict]:
    """Return what `emberbed runs list --json` says."""
    done = finish("runs", "list", "--store", store, "--json")
    assert done.exit_code == 0, done.said
    return json.loads(done.output)
