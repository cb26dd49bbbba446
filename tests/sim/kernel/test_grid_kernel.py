"""The gridded board in C against the grid plant itself, tick by tick, on drawn benches.

What is outside the project: the plant's own tests hold it against scipy and closed forms.
"""

from random import Random

import numpy as np
import pytest

from emberbed_sim.kernel import build
from emberbed_sim.kernel.grid import march_grid
from emberbed_sim.plant.grid_from_bench import grid_bench
from emberbed_sim.plant.grid_parameters import GridBench
from emberbed_sim.plant.grid_plant import GridPlant
from tests.sim.kernel.test_courses import drawn
from tests.support.parts import need

TICKS = 400


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    need("a C compiler", build.compiler(), "install your system's package gcc")


def benches():
    random = Random(3)
    yield GridBench()
    for strengths in ((1.0,), (1.0, 0.8, 1.0)):
        yield grid_bench(drawn(random), strengths)


@pytest.mark.parametrize("bench", list(benches()), ids=("usual", "one emitter", "three"))
@pytest.mark.parametrize(
    ("precision", "most_k", "most_share"), [("double", 1e-8, 1e-9), ("single", 0.05, 0.01)]
)
def test_the_kernel_is_the_plant(bench, precision, most_k, most_share):
    plain, fast = GridPlant(bench), GridPlant(bench)
    zone_w = np.random.default_rng(1).uniform(0, 900, (TICKS, plain.zones))
    fan = (np.arange(TICKS) > 300).astype(float)
    samples = march_grid(fast, zone_w, fan, every=100, precision=precision)
    for watts, blown in zip(zone_w, fan, strict=True):
        plain.step(watts, blown)
    nodes, energies = plain.state[0, : plain.layout.nodes], plain.state[0, plain.layout.nodes :]
    assert np.abs(fast.state[0, : plain.layout.nodes] - nodes).max() < most_k
    assert np.allclose(fast.state[0, plain.layout.nodes :], energies, rtol=most_share)
    assert np.array_equal(samples[-1], fast.state[0])
    assert fast.elapsed_s == plain.elapsed_s
