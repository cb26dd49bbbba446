"""The work of a campaign in pieces, done by a pool of processes or by a dask cluster.

A `Task` is plain data and the same everywhere: worker processes need nothing but this package.
Results come as they are done. A cluster that does not answer, or goes away, raises PoolError.
"""

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from itertools import groupby
from multiprocessing import get_context
from typing import Any, NamedTuple

from emberbed_sim.campaign.cells import run_cell
from emberbed_sim.campaign.healthy import run_healthy
from emberbed_sim.campaign.pairs import Pair, run_pair
from emberbed_sim.campaign.phases import PhaseError
from emberbed_sim.campaign.results import Result, failed
from emberbed_sim.campaign.table import Cell

CELLS_A_TASK, HEALTHY_A_TASK, PAIRS_A_TASK = 60, 10, 100
ANSWERS_WITHIN_S = 10


class PoolError(Exception):
    """The work cannot be done, or not to its end; one sentence."""


class Task(NamedTuple):
    """Cells with one seed, pairs with one seed, or healthy seeds."""

    cells: tuple[Cell, ...] = ()
    pairs: tuple[Pair, ...] = ()
    seed: int = 0
    healthy: tuple[int, ...] = ()


def tasks_of(cells: list[Cell], seeds: range, pairs: list[Pair], healthy: range) -> list[Task]:
    """Return the work, cells of one setup together: they share a healthy run."""
    found = [
        Task(cells=tuple(some), seed=seed)
        for seed in seeds
        for _setup, own in groupby(sorted(cells, key=_setup_of), key=_setup_of)
        for some in _batched(list(own), CELLS_A_TASK)
    ]
    found += [Task(healthy=tuple(some)) for some in _batched(healthy, HEALTHY_A_TASK)]
    for number, some in enumerate(_batched(sorted(pairs, key=_phase_of), PAIRS_A_TASK)):
        found.append(Task(pairs=tuple(some), seed=seeds[number % len(seeds)]))
    return found


def run_task(task: Task) -> list[Result]:
    """Do one piece; a healthy run that does not come to a phase is a miss of each of its cells."""
    results = [run_healthy(seed) for seed in task.healthy]
    for cell in task.cells:
        try:
            results.append(run_cell(cell, task.seed))
        except PhaseError as error:
            results.append(failed("cell", cell, task.seed, str(error)))
    for pair in task.pairs:
        results.append(run_pair(pair, task.seed))
    return results


def run_all(tasks: list[Task], cluster: str = "", workers: int = 0) -> Iterator[list[Result]]:
    """Yield the results of each piece as it is done. Raises PoolError."""
    if cluster:
        yield from _on_cluster(tasks, cluster)
        return
    with ProcessPoolExecutor(workers or os.cpu_count(), get_context("spawn")) as pool:
        futures = [pool.submit(run_task, task) for task in tasks]
        try:
            for future in as_completed(futures):
                yield future.result()
        finally:
            pool.shutdown(cancel_futures=True)


def _on_cluster(tasks: list[Task], address: str) -> Iterator[list[Result]]:
    try:
        import distributed
    except ImportError:
        raise PoolError(
            "A cluster needs the package dask: install it with pip install 'dask[distributed]'"
        ) from None
    client = _client(distributed, address)
    try:
        futures = client.map(run_task, tasks, pure=False)
        for future in distributed.as_completed(futures, loop=client.loop):
            yield _result(future, address)
    except OSError as error:  # CommClosedError is one
        raise PoolError(f"The cluster at {address} has gone ({error})") from None
    finally:
        client.close(timeout=ANSWERS_WITHIN_S)


def _client(distributed: Any, address: str) -> Any:
    try:
        client = distributed.Client(address, timeout=ANSWERS_WITHIN_S, set_as_default=False)
        if client.scheduler_info()["workers"]:
            return client
    except (OSError, ValueError, TimeoutError):
        raise PoolError(
            f"No cluster answers at {address}: start one with dask scheduler, or give its address"
            " as it says it, such as tcp://10.0.0.5:8786"
        ) from None
    client.close()
    raise PoolError(f"The cluster at {address} has no workers: start some with dask worker")


def _result(future: Any, address: str) -> list[Result]:
    if future.status == "error":
        raise PoolError(f"A worker of {address} failed ({future.exception()})")
    if future.status != "finished":
        raise PoolError(f"The cluster at {address} has gone")
    return future.result()


def _setup_of(cell: Cell) -> str:
    return str(cell.setup)


def _phase_of(pair: Pair) -> str:
    return pair.first.phase


def _batched(things: Sequence[Any], size: int) -> Iterator[Sequence[Any]]:
    for start in range(0, len(things), size):
        yield things[start : start + size]
