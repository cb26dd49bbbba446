"""A campaign's pieces done by a pool of processes or by a dask cluster, in CPython or in PyPy.

Worker processes need nothing but this package; each may have a PyPy of its own. Results come as
they are done. A cluster that does not answer, or goes away, raises PoolError.
"""

import os
import platform
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from multiprocessing import active_children, get_context
from typing import Any, NamedTuple

from emberbed_sim.campaign import traced
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.same_bits import Case, digest_of
from emberbed_sim.campaign.work import Task, run_task

ANSWERS_WITHIN_S = 10
AUTO, CPYTHON, PYPY = ENGINES = ("auto", "cpython", "pypy")


class PoolError(Exception):
    """The work cannot be done, or not to its end; one sentence."""


class Compared(NamedTuple):
    """One case run in both engines; `differs` names it if they do not agree."""

    ticks: int
    differs: str = ""


class Done(NamedTuple):
    """What a piece came to, and in what it ran."""

    results: list[Result]
    engine: str
    compared: list[Compared]


def do(task: Task, engine: str) -> Done:
    """Do one piece with one of ENGINES; AUTO takes PyPy where there is one."""
    if engine == CPYTHON or (engine == AUTO and not traced.find()):
        return Done(run_task(task), f"CPython {platform.python_version()}", [])
    there = traced.of_thread()
    compared = [_compare(case, there) for case in task.compare]
    return Done(there.run(task), there.name, compared)


def run_all(
    tasks: list[Task], cluster: str = "", workers: int = 0, engine: str = AUTO
) -> Iterator[Done]:
    """Yield each piece as it is done. Raises PoolError."""
    if cluster:
        yield from _on_cluster(tasks, cluster, engine)
        return
    with ProcessPoolExecutor(workers or os.cpu_count(), get_context("spawn")) as pool:
        wanted = True
        try:
            futures = [pool.submit(do, task, engine) for task in tasks]
            for future in as_completed(futures):
                yield future.result()
            wanted = False
        except traced.TracedError as error:
            raise PoolError(str(error)) from None
        finally:
            if wanted:  # broken off: nobody waits for what is being worked on
                for worker in active_children():
                    worker.terminate()
            pool.shutdown(cancel_futures=True)


def _compare(case: Case, there: traced.Traced) -> Compared:
    here, found = digest_of(case), there.digest(case)
    differs = "" if here == found else f"{case.cell.name} seed {case.seed}"
    return Compared(here.ticks, differs)


def _on_cluster(tasks: list[Task], address: str, engine: str) -> Iterator[Done]:
    try:
        import distributed
    except ImportError:
        raise PoolError(
            "A cluster needs the package dask: install it with pip install 'dask[distributed]'"
        ) from None
    client = _client(distributed, address)
    try:
        futures = client.map(partial(do, engine=engine), tasks, pure=False)
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


def _result(future: Any, address: str) -> Done:
    if future.status == "error":
        raise PoolError(f"A worker of {address} failed ({future.exception()})")
    if future.status != "finished":
        raise PoolError(f"The cluster at {address} has gone")
    return future.result()
