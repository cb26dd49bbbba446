"""PyPy as the engine of a campaign: the same sources, traced while they run, several times faster.

`Traced.start` looks for PyPy among this machine's programs and starts `traced_boot` in it; `run`
hands it one piece of the work, with the benches and plans that only this interpreter can draw.
Nothing is built, installed or written. Raises TracedError, one sentence.
"""

import pickle
import shutil
import struct
import subprocess
import tempfile
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import emberbed_fw
import emberbed_sim
from emberbed_sim.campaign import traced_boot
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.same_bits import Case, Digest
from emberbed_sim.campaign.setups import Draw, draw
from emberbed_sim.campaign.work import Task, draws_of

NAMES = ("pypy3", "pypy3.11", "pypy3.10", "pypy")
HEAD = struct.Struct("<I")
END_WITHIN_S = 5.0
MISSING = "PyPy is not installed here"


class TracedError(RuntimeError):
    """PyPy is not there, does not start, or failed; one sentence without its full stop."""


def find() -> str:
    """Return PyPy's path, "" when this machine has none."""
    return next(filter(None, map(shutil.which, NAMES)), "")


class Traced:
    """A running PyPy with the firmware and the simulation of this process. Close it."""

    def __init__(self, program: str) -> None:
        if not program:
            raise TracedError(MISSING)
        folders = [str(Path(str(one.__file__)).parent) for one in (emberbed_fw, emberbed_sim)]
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115  (close() does)
        try:
            self._child = subprocess.Popen(
                [program, "-B", "-I", traced_boot.__file__, *folders],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._complaints,
            )
        except OSError as error:
            self._complaints.close()
            raise TracedError(f"{program} does not start ({error.strerror})") from None
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

    def close(self) -> None:
        """End it."""
        assert self._child.stdin and self._child.stdout
        with suppress(OSError):  # it died first
            self._child.stdin.close()
        try:
            self._child.wait(END_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        self._child.stdout.close()
        self._complaints.close()

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


_own = threading.local()


def of_thread() -> Traced:
    """Return the PyPy that belongs to this thread, for as long as it lasts."""
    if not hasattr(_own, "traced"):
        _own.traced = Traced(find())
    return _own.traced
