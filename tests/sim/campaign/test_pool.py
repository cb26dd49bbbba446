"""The same work in a pool of processes and on a dask cluster; clusters that are not there."""

import socket

import pytest

from emberbed_sim.campaign.cells import run_cell
from emberbed_sim.campaign.pool import CPYTHON, PoolError, run_all
from emberbed_sim.campaign.table import cells
from emberbed_sim.campaign.work import Task, tasks_of
from tests.support.parts import need_python_module

SOME = [cell for cell in cells() if cell.row == "tc_open" and cell.phase in ("ramp", "soak")][:2]
TASKS = [Task(cells=tuple(SOME), seed=seed) for seed in (0, 1)]


def expected():
    return [run_cell(cell, task.seed) for task in TASKS for cell in task.cells]


def done(batches):
    return sorted(
        (one for batch in batches for one in batch.results), key=lambda one: (one.seed, one.phase)
    )


def test_a_pool_of_processes_gives_what_this_process_gives():
    assert done(run_all(TASKS, workers=2, engine=CPYTHON)) == expected()


def test_a_dask_cluster_gives_what_this_process_gives():
    need_python_module("distributed", "pip install 'dask[distributed]'")
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        address = cluster.scheduler_address
        if address.startswith("inproc"):
            address = cluster.scheduler.address
        assert done(run_all(TASKS, address)) == expected()


def test_a_cluster_that_does_not_answer_is_told_in_a_sentence():
    need_python_module("distributed", "pip install 'dask[distributed]'")
    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{nobody.getsockname()[1]}"
        with pytest.raises(PoolError, match=f"No cluster answers at {address}: start one"):
            next(iter(run_all(TASKS, address)))


def test_an_address_that_is_none_is_told_in_a_sentence():
    need_python_module("distributed", "pip install 'dask[distributed]'")
    with pytest.raises(PoolError, match="No cluster answers at teapot: start one"):
        next(iter(run_all(TASKS, "teapot")))


@pytest.mark.parametrize("seeds", [2, 20])
def test_the_work_is_all_there_once(seeds):
    tasks = tasks_of(list(cells()), range(seeds), [], range(25))
    ran = [(cell.name, task.seed) for task in tasks for cell in task.cells]
    assert len(ran) == len(set(ran)) == seeds * len(cells())
    assert sorted(seed for task in tasks for seed in task.healthy) == list(range(25))
    assert all(len({cell.setup for cell in task.cells}) <= 1 for task in tasks)
