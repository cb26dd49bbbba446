"""How fast the grid plant is: one plant and a batch against scipy's solve_ivp in the same run.

`pytest tests/benchmarks/test_plant_speed.py --benchmark-only`; each row moves the default bench
(24 x 12 cells, two layers) 30 s on from the same warm state. The batch row moves 64 plants, so its
time divides by 64. A device changes its power up to every tick; a solver has to start anew for each
change: the row "every second" is kind to it.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from emberbed_sim.plant.grid_parameters import GridBench
from emberbed_sim.plant.grid_plant import GridPlant

SECONDS, POWER_W, PLANTS = 30, 600.0, 64


@pytest.fixture(scope="module")
def warm() -> np.ndarray:
    """The state of a bench after two minutes at power."""
    plant = GridPlant(GridBench())
    for _ in range(1200):
        plant.step(POWER_W)
    return plant.state[0].copy()


@pytest.fixture(scope="module")
def exact(warm) -> np.ndarray:
    """Where it is 30 s later, by a fine solver."""
    return solved(GridPlant(GridBench()), warm, SECONDS, "DOP853", 1e-10)


def solved(
    plant: GridPlant, state: np.ndarray, seconds: float, method: str, rtol: float
) -> np.ndarray:
    found = solve_ivp(
        lambda _, y: plant.rates(y, POWER_W), (0, seconds), state, method=method, rtol=rtol
    )
    return found.y[:, -1]


def worst_k(plant: GridPlant, state: np.ndarray, exact: np.ndarray) -> float:
    return float(np.abs(state - exact)[..., : plant.layout.nodes].max())


def stepped(plant: GridPlant, warm: np.ndarray) -> np.ndarray:
    plant.state[:] = warm
    for _ in range(SECONDS * 10):
        plant.step(POWER_W)
    return plant.state


@pytest.mark.benchmark(group="plant-30-s")
def test_one_plant(benchmark, warm, exact) -> None:
    plant = GridPlant(GridBench())
    found = benchmark(stepped, plant, warm)
    assert worst_k(plant, found[0], exact) < 1e-3


@pytest.mark.benchmark(group="plant-30-s")
def test_batch_of_64(benchmark, warm, exact) -> None:
    plant = GridPlant([GridBench()] * PLANTS)
    found = benchmark.pedantic(stepped, (plant, warm), rounds=3, warmup_rounds=1)
    assert worst_k(plant, found, exact) < 1e-3


@pytest.mark.benchmark(group="plant-30-s")
@pytest.mark.parametrize("method", ["RK45", "LSODA"])
def test_solver_with_one_power(benchmark, warm, exact, method) -> None:
    plant = GridPlant(GridBench())
    found = benchmark.pedantic(
        solved, (plant, warm, SECONDS, method, 1e-6), rounds=3, warmup_rounds=1
    )
    assert worst_k(plant, found, exact) < 0.1


@pytest.mark.benchmark(group="plant-30-s")
def test_solver_begun_anew_every_second(benchmark, warm, exact) -> None:
    plant = GridPlant(GridBench())

    def second_by_second() -> np.ndarray:
        state = warm
        for _ in range(SECONDS):
            state = solved(plant, state, 1, "RK45", 1e-6)
        return state

    found = benchmark.pedantic(second_by_second, rounds=3, warmup_rounds=1)
    assert worst_k(plant, found, exact) < 0.1
