"""What-ifs on all cores of this machine: in PyPy where there is one and it pays, or in CPython."""

import os
import platform
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from itertools import chain
from multiprocessing import get_context

from emberbed_sim.campaign import traced
from emberbed_sim.campaign.what_ifs import Case, Outcome, run_cases

A_PIECE = 4
FEWEST_FOR_PYPY = 24  # below, CPython is done before PyPy has warmed up


def engine_for(count: int) -> str:
    """Return the path of a PyPy for so many cases, "" for CPython."""
    return traced.find() if count >= FEWEST_FOR_PYPY else ""


def outcomes(
    cases: Sequence[Case], control: int, pypy: str, workers: int = 0
) -> tuple[list[Outcome], str]:
    """Return what each case comes to, in order, and the engine's name. Raises TracedError."""
    pieces = [cases[at : at + A_PIECE] for at in range(0, len(cases), A_PIECE)]
    workers = min(workers or os.cpu_count() or 1, len(pieces))
    if pypy:
        return _traced(pieces, control, pypy, workers)
    if workers == 1:
        return run_cases(cases, control), _python()
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        done = pool.map(partial(run_cases, control=control), pieces)
        return list(chain.from_iterable(done)), _python()


def _traced(
    pieces: Sequence[Sequence[Case]], control: int, pypy: str, workers: int
) -> tuple[list[Outcome], str]:
    """Give each of some threads a PyPy of its own and every so-many-th piece."""

    def some(first: int) -> tuple[list[list[Outcome]], str]:
        there = traced.Traced(pypy)
        try:
            return [there.what_ifs(piece, control) for piece in pieces[first::workers]], there.name
        finally:
            there.close()

    with ThreadPoolExecutor(workers) as pool:
        done = list(pool.map(some, range(workers)))
    found = [done[at % workers][0][at // workers] for at in range(len(pieces))]
    return list(chain.from_iterable(found)), done[0][1]


def _python() -> str:
    return f"CPython {platform.python_version()}"
