"""The proof: the firmware installed here against every fault in every phase, and healthy days.

An analysis command: it may import the simulation, heats nothing and needs no device. Gives the
evidence as plain numbers, keeps every result in one Parquet file as it comes, and never loses what
is finished. Raises VerifyError, one sentence for the person who asked.
"""

import time
from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emberbed_sim.campaign import interpreter_sample, seeded_bugs, traced
from emberbed_sim.campaign.evidence import replay_command, summarise
from emberbed_sim.campaign.pairs import Pair, pairs
from emberbed_sim.campaign.pool import (
    AUTO,
    CPYTHON,
    ENGINES,
    PYPY,
    Compared,
    Done,
    PoolError,
    run_all,
)
from emberbed_sim.campaign.results import Result, ResultFile
from emberbed_sim.campaign.seeded_bugs import Bug, Found
from emberbed_sim.campaign.table import Cell, cells
from emberbed_sim.campaign.work import spread, tasks_of

__all__ = ["HEALTHY", "Asked", "Campaign", "VerifyError", "chosen", "replay_command"]

HEALTHY = "healthy"
THEN = " then "
TOLD_EVERY_S = 10.0
LEAST_TRACED = 200  # runs: fewer are over in CPython before PyPy has warmed up
GET_PYPY = "install it from your system's packages (pypy3) or from pypy.org"
PLAIN = "CPython does the work, in several times as long"
Say = Callable[[str], None]


class VerifyError(Exception):
    """The campaign cannot be run, or not to its end; one sentence."""


@dataclass(frozen=True)
class Asked:
    """What is wanted. `only`: a fault, a row of the table, "A then B", or HEALTHY; "" = all."""

    seeds: range = range(3)
    runs: int = 1000
    pairs: int = 300
    only: str = ""
    phase: str = ""
    setup: str = ""
    out: Path | None = None
    cluster: str = ""
    workers: int = 0
    bugs: int = -1  # -1 = all
    tapes: int = len(interpreter_sample.FAULTS)
    part_of_cells: int = 1  # one in so many
    engine: str = AUTO
    compared: int = 8  # cells run in both engines, where there are two


@dataclass(frozen=True)
class Work:
    """What was chosen to be run."""

    cells: list[Cell]
    pairs: list[Pair]
    healthy: range
    bugs: tuple[Bug, ...] = ()
    tapes: int = 0
    compared: int = 0

    def runs(self, seeds: int) -> int:
        """Return how many runs this is, bugs apart."""
        return len(self.cells) * seeds + len(self.pairs) + len(self.healthy)


def chosen(asked: Asked) -> Work:
    """Return the work, or raise VerifyError for a name that does not exist."""
    narrowed = bool(asked.only or asked.phase or asked.setup)
    if asked.only == HEALTHY:
        first = asked.seeds.start
        return Work([], [], range(first, first + max(asked.runs, 1)))
    if THEN in asked.only:
        return Work([], _named_pairs(asked), range(0))
    some = _named_cells(asked)[:: asked.part_of_cells]
    if narrowed:
        return Work(some, [], range(0))
    bugs = seeded_bugs.bugs()
    bugs = bugs if asked.bugs < 0 else bugs[: asked.bugs]
    some_pairs = spread(pairs(), asked.pairs)
    return Work(some, some_pairs, range(asked.runs), bugs, asked.tapes, asked.compared)


class Campaign:
    """One campaign. `run` does the work, `evidence` says what it came to."""

    def __init__(self, asked: Asked) -> None:
        self._asked = asked
        self._work = chosen(asked)
        self._engine = _engine(asked, self._work.runs(len(asked.seeds)))
        self._file = _file(asked.out)
        self.results: list[Result] = []
        self._found: list[Found] = []
        self._played: list[interpreter_sample.Played] = []
        self._compared: list[Compared] = []
        self._runs_in: Counter[str] = Counter()
        self._begun = time.monotonic()
        self._told = self._begun

    def run(self, say: Say) -> None:
        """Do the work, telling now and then how far it is. Raises VerifyError."""
        work, asked = self._work, self._asked
        needs = work.runs(len(asked.seeds)) >= LEAST_TRACED
        if needs and self._engine == CPYTHON and asked.engine == AUTO:
            say(f"{traced.MISSING}: {PLAIN}")
        tasks = tasks_of(work.cells, asked.seeds, work.pairs, work.healthy, work.compared)
        try:
            for done in run_all(tasks, asked.cluster, asked.workers, self._engine):
                self._take(done, say)
            self._hunt(say)
            self._play()
        except (PoolError, seeded_bugs.BugError) as error:
            raise VerifyError(f"{error}{self._kept()}") from None
        except KeyboardInterrupt:
            raise VerifyError(f"Broken off{self._kept()}") from None
        finally:
            self._close()

    def evidence(self) -> dict[str, Any]:
        """Return what the results come to."""
        asked, seconds = self._asked, time.monotonic() - self._begun
        about: dict[str, Any] = {
            "seeds": [asked.seeds.start, asked.seeds.stop - 1],
            "seconds": round(seconds, 1),
            "engines": {
                "runs": dict(self._runs_in),
                "compared": len(self._compared),
                "ticks": sum(one.ticks for one in self._compared),
                "differs": [one.differs for one in self._compared if one.differs],
            },
            "interpreter": {
                "micropython": interpreter_sample.has_micropython(),
                "runs": len(self._played),
                "ticks": sum(one.ticks for one in self._played),
                "equal": sum(one.equal for one in self._played),
                "differs": [one.differs for one in self._played if one.differs],
            },
        }
        return summarise(self.results, self._work.cells, self._found, about)

    def _take(self, done: Done, say: Say) -> None:
        results = done.results
        self.results += results
        self._runs_in[done.engine] += len(results)
        self._compared += done.compared
        for one in done.compared:
            if one.differs:
                say(f"the engines differ: {one.differs}")
        if self._file is not None:
            try:
                self._file.add(results)
            except OSError as error:
                raise VerifyError(_full(self._file, error)) from None
        for one in results:
            if one.miss:
                told = " ".join(filter(None, (one.part, one.row, one.phase, one.setup)))
                say(f"{told} seed {one.seed}: {one.miss}")
                say(f"    {replay_command(one)}")
        if time.monotonic() - self._told >= TOLD_EVERY_S:
            self._told = time.monotonic()
            say(f"{len(self.results)} runs")

    def _hunt(self, say: Say) -> None:
        with ThreadPoolExecutor(self._asked.workers or None) as pool:
            for found in pool.map(seeded_bugs.hunt, self._work.bugs):
                self._found.append(found)
                if not found.found:
                    say(f"seeded bug not found: {found.name} {found.by}")

    def _play(self) -> None:
        if not interpreter_sample.has_micropython():
            return
        for number in range(self._work.tapes):
            fault = interpreter_sample.FAULTS[number % len(interpreter_sample.FAULTS)]
            self._played.append(interpreter_sample.play(fault, self._asked.seeds.start + number))

    def _kept(self) -> str:
        if self._file is None:
            return f": {len(self.results)} runs were finished; with --out they would be kept"
        return f": {len(self.results)} finished runs are kept in {self._file.path}"

    def _close(self) -> None:
        if self._file is not None:
            try:
                self._file.write()
            except OSError as error:
                raise VerifyError(_full(self._file, error)) from None


def _engine(asked: Asked, runs: int) -> str:
    """Return what does the work; on a cluster AUTO is each worker's own matter."""
    if asked.engine not in ENGINES:
        known = ", ".join(ENGINES)
        raise VerifyError(f"--engine {asked.engine} is not known: give one of {known}")
    if asked.cluster or asked.engine == CPYTHON:
        return asked.engine
    if asked.engine == PYPY:
        if not traced.find():
            raise VerifyError(f"{traced.MISSING}: {GET_PYPY}, or leave --engine away")
        return PYPY
    return PYPY if traced.find() and runs >= LEAST_TRACED else CPYTHON


def _file(folder: Path | None) -> ResultFile | None:
    if folder is None:
        return None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return ResultFile(folder)
    except OSError as error:
        raise VerifyError(
            f"{folder} cannot be written ({error.strerror}): name another folder with --out"
        ) from None
    except ImportError:
        raise VerifyError(
            "Keeping results needs the package pyarrow: pip install 'emberbed[verify]', or leave"
            " --out away"
        ) from None


def _full(file: ResultFile, error: OSError) -> str:
    return (
        f"{file.path} cannot be written ({error.strerror}): it keeps the {file.written} runs that"
        " were finished before; make room and start again"
    )


def _named_cells(asked: Asked) -> list[Cell]:
    every = cells()
    known = {cell.fault for cell in every} | {cell.row for cell in every}
    if asked.only and asked.only not in known:
        names = ", ".join(sorted({cell.fault for cell in every}))
        raise VerifyError(
            f"Fault '{asked.only}' is not in the table: give {HEALTHY} or one of {names}"
        )
    _known("Phase", asked.phase, [cell.phase for cell in every], "--phase")
    _known("Setup", asked.setup, [str(cell.setup) for cell in every], "--setup")
    return [
        cell
        for cell in every
        if asked.only in ("", cell.fault, cell.row)
        and asked.phase in ("", cell.phase)
        and asked.setup in ("", str(cell.setup))
    ]


def _known(what: str, name: str, names: Iterable[str], option: str) -> None:
    if name and name not in (known := dict.fromkeys(names)):
        raise VerifyError(f"{what} '{name}' is not known: give {option} one of {', '.join(known)}")


def _named_pairs(asked: Asked) -> list[Pair]:
    found = [
        pair
        for pair in pairs()
        if pair.name == asked.only and asked.phase in ("", pair.first.phase)
    ]
    if not found:
        raise VerifyError(
            f"No pair '{asked.only}' is in the campaign: write FAULT{THEN}FAULT, the first one that"
            " trips by itself"
        )
    return found
