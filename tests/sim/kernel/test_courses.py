"""The kernels against the plant itself, step by step on random benches, and against scipy's solver.

C in double precision has to give the plant's own bits, beads to rounding; single precision and
larger steps are held to what a picture or a chance can show.
"""

from dataclasses import replace
from random import Random

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from emberbed_sim.kernel import build
from emberbed_sim.kernel.benches import benches_of
from emberbed_sim.kernel.courses import march
from emberbed_sim.plant.nozzle import STILL
from emberbed_sim.plant.parameters import (
    TICK_S,
    BenchParameters,
    BoardParameters,
    EmitterParameters,
    MainsParameters,
    SurroundingsParameters,
    sensor_at,
)
from emberbed_sim.plant.thermal import LUMPS, ThermalNetwork
from emberbed_sim.plant.thermocouple import Thermocouple
from tests.support.parts import need

PLACES = ("board_centre", "board_edge", "emitter", "chip_top")
TICKS, EVERY = 600, 10
COUNT = 37  # no multiple of any block


def drawn(random: Random) -> BenchParameters:
    sensors = [sensor_at(f"s{n}", where) for n, where in enumerate(PLACES)]
    return BenchParameters(
        emitter=EmitterParameters(watts=random.uniform(400, 2000), gap_mm=random.uniform(20, 60)),
        board=BoardParameters(
            random.uniform(40, 600), random.uniform(80, 250), random.uniform(60, 200),
            emissivity=random.uniform(0.7, 0.97),
        ),
        mains=MainsParameters(actual_v=random.uniform(200, 255)),
        surroundings=SurroundingsParameters(room_c=random.uniform(5, 40)),
        sensors=tuple(replace(one, lag_s=random.uniform(0.4, 6)) for one in sensors),
    )  # fmt: skip


@pytest.fixture(scope="module")
def benches() -> list[BenchParameters]:
    random = Random(20)
    return [drawn(random) for _ in range(COUNT)]


@pytest.fixture(scope="module")
def power() -> np.ndarray:
    return np.random.default_rng(4).uniform(0, 1, TICKS)


@pytest.fixture(scope="module")
def fan() -> np.ndarray:
    return (np.arange(TICKS) > 400).astype(float)


def plant_course(bench, power, fan):
    """Return what the plant itself makes of it: bead samples, lumps."""
    heat = ThermalNetwork(bench)
    beads = [Thermocouple(placed, bench.surroundings.room_c) for placed in bench.sensors]
    full_w, shown = bench.emitter.watts * bench.mains.power_factor, []
    for at, (part, blown) in enumerate(zip(power.tolist(), fan.tolist(), strict=True), 1):
        heat.step((part * full_w,), blown, STILL, 0.0)
        for bead in beads:
            bead.step(*heat.felt(bead.placement))
        if at % EVERY == 0:
            shown.append([bead.bead_c for bead in beads])
    return np.array(shown), np.array([getattr(heat, lump) for lump in LUMPS])


@pytest.fixture(scope="module")
def plants(benches, power, fan):
    courses = [plant_course(bench, power, fan) for bench in benches]
    return np.stack([one[0] for one in courses], -1), np.stack([one[1] for one in courses], -1)


@pytest.fixture(scope="module")
def compiled() -> None:
    need("a C compiler", build.compiler(), "install your system's package gcc")


def test_c_in_double_precision_gives_the_plants_own_bits(compiled, benches, power, fan, plants):
    found = march(benches_of(benches), power, fan, every=EVERY, engine="c")
    assert np.array_equal(found.lumps_k, plants[1])
    assert np.abs(found.bead_c - plants[0]).max() < 1e-9
    assert found.engine == "C, double"


def test_numpy_is_the_plant_within_rounding(benches, power, fan, plants):
    found = march(benches_of(benches), power, fan, every=EVERY, engine="numpy")
    assert np.abs(found.lumps_k - plants[1]).max() < 1e-9
    assert np.abs(found.bead_c - plants[0]).max() < 1e-9


def test_c_in_single_precision(compiled, benches, power, fan, plants):
    found = march(benches_of(benches), power, fan, every=EVERY, precision="single", engine="c")
    assert np.abs(found.lumps_k - plants[1]).max() < 0.02
    assert np.abs(found.bead_c - plants[0]).max() < 0.02


@pytest.mark.parametrize("engine", ["c", "numpy"])
def test_each_bench_may_have_a_power_of_its_own(compiled, benches, power, fan, engine):
    own = np.outer(power, np.linspace(0.2, 1.0, COUNT))
    found = march(benches_of(benches), own, fan, every=EVERY, engine=engine)
    bead_c, lumps_k = plant_course(benches[-2], own[:, -2], fan)
    assert np.abs(found.lumps_k[:, -2] - lumps_k).max() < 1e-9
    assert np.abs(found.bead_c[..., -2] - bead_c).max() < 1e-9


@pytest.mark.parametrize("step_ticks", [1, 3])
def test_the_end_is_where_a_fine_solver_has_it(compiled, benches, step_ticks):
    bench, seconds, share = benches[0], 240.0, 0.6
    heat, tables = ThermalNetwork(bench), benches_of([bench])

    def rates(_s, kelvin):
        flows = heat._flows_w(*kelvin, (0.0,) * 6)
        watts = np.array(flows[:5]) + [share * tables.full_w[0], 0, 0, 0, 0]
        return watts / tables.capacities_j_k[:, 0]

    start = [bench.surroundings.room_c + 273.15] * 5
    exact = solve_ivp(rates, (0, seconds), start, rtol=1e-10, atol=1e-9).y[:, -1]
    step_s = step_ticks * TICK_S
    steps = round(seconds / step_s)
    found = march(tables, np.full(steps, share), step_s=step_s, engine="c")
    assert np.abs(found.lumps_k[:, 0] - exact).max() < (2e-4 if step_ticks == 1 else 2e-3)


def test_without_a_compiler_numpy_does_it(monkeypatch, benches, power):
    monkeypatch.setattr(build, "compiler", lambda: "")
    with pytest.raises(build.NoCompiler):
        build.library("int x;", "-Dnever-built")
    monkeypatch.setattr(
        "emberbed_sim.kernel.in_c._built", lambda _p: build.library("int x;", "-Dnever-built")
    )
    assert march(benches_of(benches[:2]), power).engine == "numpy"
    with pytest.raises(build.NoCompiler, match="no C compiler"):
        march(benches_of(benches[:2]), power, engine="c")


def test_sensors_elsewhere_are_refused(benches):
    other = replace(benches[0], sensors=(sensor_at("one", "board_edge"),))
    with pytest.raises(ValueError, match="differ in where their sensors sit"):
        benches_of([benches[0], other])


def test_power_that_fits_no_bench_is_refused(benches):
    with pytest.raises(ValueError, match="fits no 2 benches"):
        march(benches_of(benches[:2]), np.zeros((10, 3)))
