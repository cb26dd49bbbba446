"""Firmware in the loop with plant and monitor: CPython against PyPy, the same runs in one go.

`pytest tests/benchmarks/test_engine_speed.py --benchmark-only`; processor time, so that others on
the machine count little. A row is the same ten healthy days, each a few minutes of bench time, over
and over: PyPy's first rounds are slower, as it has traced little yet, and are told apart. Their
results have to be equal.
"""

import time

import pytest

from emberbed_sim.campaign.traced import Traced, find
from emberbed_sim.campaign.work import Task, run_task
from tests.support.parts import need

DAYS = Task(healthy=tuple(range(10)))
PROFILE_S = 480
WARM_ROUNDS, ROUNDS = 12, 3
LEAST_RATIO = 2.5  # usual is 6 to 9


@pytest.mark.benchmark(group="firmware in the loop")
def test_the_same_days_in_both_engines(benchmark):
    need("PyPy", find(), "install your system's package pypy3")
    there = Traced(find())
    first_s = _there_s(there)
    for _round in range(WARM_ROUNDS):
        there.run(DAYS)
    traced_s = min(_there_s(there) for _round in range(ROUNDS))
    results = benchmark.pedantic(run_task, args=(DAYS,), rounds=1, iterations=1)
    assert there.run(DAYS) == results
    began_s = time.process_time()
    run_task(DAYS)
    plain_s = time.process_time() - began_s
    simulated_s = sum(one.simulated_s for one in results)
    there.close()
    told = {"CPython": plain_s, there.name: traced_s, f"{there.name}, cold": first_s}
    benchmark.extra_info["simulated hours per hour and core"] = {
        name: round(simulated_s / taken_s) for name, taken_s in told.items()
    }
    benchmark.extra_info[f"ms for a profile of {PROFILE_S} s"] = {
        name: round(1000 * taken_s * PROFILE_S / simulated_s, 1) for name, taken_s in told.items()
    }
    benchmark.extra_info["ratio"] = round(plain_s / traced_s, 1)
    assert plain_s / traced_s > LEAST_RATIO


def _there_s(there: Traced) -> float:
    began_s = there.cpu_s()
    there.run(DAYS)
    return there.cpu_s() - began_s
