"""PyPy as the engine of a campaign: the same sources, traced while they run, several times faster.

`find` looks for PyPy among this machine's programs, `Traced` starts `traced_boot` in it; `run`
hands it one piece of the work, with the benches and plans that only this interpreter can draw.
Nothing is built, installed or written. Raises TracedError, one sentence.
"""

import pickle
import shutil
import struct
import subprocess
import tempfile
import threading
import weakref
from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import IO, Any

import emberbed_fw
import emberbed_sim
from emberbed_sim.campaign import traced_boot
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.same_bits import Case, Digest
from emberbed_sim.campaign.setups import Draw, draw
from emberbed_sim.campaign.what_ifs import Case as WhatIf
from emberbed_sim.campaign.what_ifs import Outcome
from emberbed_sim.campaign.work import Task, draws_of

NAMES = ("pypy3", "pypy3.11", "pypy3.10", "pypy")
HEAD = struct.Struct("<I")
END_WITHIN_S = 5.0
# traces what it would leave to be interpreted for longer: one seventh less time on a campaign
SOONER = "threshold=200,function_threshold=300,trace_eagerness=50"
MISSING = "PyPy is not installed here"
FITS = "import sys; sys.exit(not hasattr(sys, 'pypy_version_info') or sys.version_info < (3, 9))"


class TracedError(RuntimeError):
    """PyPy is not there, does not start, or failed; one sentence without its full stop."""


def _folder(package: ModuleType) -> Path:
    return Path(str(package.__file__)).parent


@cache
def find() -> str:
    """Return the path of a PyPy that is new enough, "" when this machine has none."""
    return next((path for path in map(shutil.which, NAMES) if path and _fits(path)), "")


def _fits(program: str) -> bool:
    try:
        ran = subprocess.run([program, "-c", FITS], timeout=END_WITHIN_S, check=False)
        return ran.returncode == 0
    except (OSError, subprocess.TimeoutExpired):
        return False


class Traced:
    """A running PyPy with the simulation of this process and its firmware, or the one in a folder.
    Ends when it is closed, or nobody has it any more."""

    def __init__(self, program: str, firmware: Path | None = None) -> None:
        if not program:
            raise TracedError(MISSING)
        folders = [str(firmware or _folder(emberbed_fw)), str(_folder(emberbed_sim))]
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115  (`_end` does)
        try:
            self._child = subprocess.Popen(
                [program, "--jit", SOONER, "-B", "-I", traced_boot.__file__, *folders],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._complaints,
            )
        except OSError as error:
            self._complaints.close()
            raise TracedError(f"{program} does not start ({error.strerror})") from None
        self._end = weakref.finalize(self, _end, self._child, self._complaints)
        try:
            self.name: str = self._answer()
        except TracedError:
            self.close()
            raise

    def run(self, task: Task) -> list[Result]:
        """Do one piece there."""
        self._give(draws_of(task))
        return self._ask("run", task)

    def digest(self, case: Case) -> Digest:
        """Run a case there."""
        self._give([Draw(case.cell.setup, case.seed)])
        return self._ask("digest", case)

    def what_ifs(self, cases: Sequence[WhatIf], control: int) -> list[Outcome]:
        """Run these there; what_ifs.run_cases says what comes of it."""
        return self._ask("what_ifs", (tuple(cases), control))

    def cpu_s(self) -> float:
        """Return the processor's time that it has taken so far."""
        return self._ask("cpu_s", None)

    def close(self) -> None:
        """End it."""
        self._end()

    def _give(self, draws: Sequence[Draw] | set[Draw]) -> None:
        self._ask("give", {one: draw(*one) for one in draws})

    def _ask(self, name: str, argument: object) -> Any:
        assert self._child.stdin
        octets = pickle.dumps((name, argument), protocol=4)
        try:
            self._child.stdin.write(HEAD.pack(len(octets)) + octets)
            self._child.stdin.flush()
        except OSError:
            raise TracedError(self._why_ended()) from None
        return self._answer()

    def _answer(self) -> Any:
        assert self._child.stdout
        head = self._child.stdout.read(HEAD.size)
        octets = self._child.stdout.read(HEAD.unpack(head)[0]) if len(head) == HEAD.size else b""
        if not octets:
            raise TracedError(self._why_ended())
        went_well, answer = pickle.loads(octets)
        if not went_well:
            raise TracedError(f"PyPy failed ({answer})")
        return answer

    def _why_ended(self) -> str:
        """Return one sentence with the last thing it said, if it said anything."""
        with suppress(subprocess.TimeoutExpired):
            self._child.wait(END_WITHIN_S)
        self._complaints.seek(0)
        lines = self._complaints.read().decode(errors="replace").strip().splitlines()
        return f"PyPy ended ({lines[-1] if lines else 'without a word'})"


def _end(child: subprocess.Popen[bytes], complaints: IO[bytes]) -> None:
    """End it as it ends by itself: with its input."""
    assert child.stdin and child.stdout
    with suppress(OSError):  # it died first
        child.stdin.close()
    try:
        child.wait(END_WITHIN_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    child.stdout.close()
    complaints.close()


_own = threading.local()


def of_thread() -> Traced:
    """Return the PyPy that belongs to this thread, for as long as it lasts."""
    if not hasattr(_own, "traced"):
        _own.traced = Traced(find())
    return _own.traced
