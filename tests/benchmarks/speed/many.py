"""Many workers: what a task costs beyond its work, in processes and on a cluster right here."""

import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from emberbed_sim.campaign.pool import CPYTHON, do
from emberbed_sim.campaign.work import Task, run_task
from tests.benchmarks.speed.figures import Figure, shown_s

WORKERS, EMPTY = 2, 200
DAYS = [Task(healthy=(seed,)) for seed in range(4)]
NOTHING = Task()
PLANNED = 1000


def costs() -> dict[str, float]:
    """Return s: a day's work in one process; an empty task in processes and on the cluster; the
    wall's time of all days in one process, in two, on the cluster."""
    import distributed

    began_s = time.process_time()
    wall_s = time.perf_counter()
    for task in DAYS:
        run_task(task)
    found = {
        "work": (time.process_time() - began_s) / len(DAYS),
        "alone": time.perf_counter() - wall_s,
    }
    with ProcessPoolExecutor(WORKERS, get_context("spawn")) as pool:
        list(pool.map(do, [NOTHING] * WORKERS, [CPYTHON] * WORKERS))
        found["process"] = _each(lambda: list(pool.map(do, [NOTHING] * EMPTY, [CPYTHON] * EMPTY)))
        found["processes"] = _wall(lambda: list(pool.map(do, DAYS, [CPYTHON] * len(DAYS))))
    with (
        distributed.LocalCluster(
            n_workers=WORKERS, threads_per_worker=1, dashboard_address=None, processes=True
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        ask = [NOTHING] * EMPTY, [CPYTHON] * EMPTY
        client.gather(client.map(do, [NOTHING] * WORKERS, [CPYTHON] * WORKERS, pure=False))
        found["cluster"] = _each(lambda: client.gather(client.map(do, *ask, pure=False)))
        days = DAYS, [CPYTHON] * len(DAYS)
        found["on cluster"] = _wall(lambda: client.gather(client.map(do, *days, pure=False)))
    return found


def _wall(call) -> float:
    began_s = time.perf_counter()
    call()
    return time.perf_counter() - began_s


def _each(call) -> float:
    return min(_wall(call) for _turn in range(2)) / EMPTY


def fan_out(found: dict[str, float]) -> list[Figure]:
    work = found["work"]
    return [
        Figure(f"many/{name}", f"an empty task {words}, 2 workers", shown_s(found[name]),
               "a healthy day in CPython", shown_s(work), work / found[name])
        for name, words in (("process", "in a pool of processes"), ("cluster", "on a Dask cluster"))
    ]  # fmt: skip


def plan(found: dict[str, float]) -> list[str]:
    """Return what a thousand workers would take, on paper."""
    task_s, work_s = found["cluster"], found["work"]
    least_s = PLANNED * task_s
    pieces = -(-least_s // work_s)
    return [
        f"The scheduler is one process: at {shown_s(task_s)} a task it keeps {PLANNED} workers busy"
        f" when a task works for {shown_s(least_s)} or more, which is {pieces:.0f} healthy days of"
        f" {shown_s(work_s)}; at ten times as many its share is a tenth.",
        "Not measured beyond 2 workers; it counts on the scheduler's time a task staying what it is"
        " here and on results of a few hundred bytes each.",
    ]
