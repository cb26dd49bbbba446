"""The simulated bench: kernels against the plant itself, numpy and scipy's solver; the firmware in
the loop in both engines."""

from functools import partial

import numpy as np
from scipy.integrate import solve_ivp

from emberbed import rehearse_what_ifs
from emberbed.profiles.reader import parse_profile
from emberbed.rehearse import rehearse
from emberbed.rehearse_bench import usual_bench
from emberbed_sim.campaign.traced import Traced, find
from emberbed_sim.campaign.what_ifs import Case, run_cases
from emberbed_sim.kernel.benches import benches_of
from emberbed_sim.kernel.courses import march
from emberbed_sim.kernel.grid import march_grid
from emberbed_sim.plant.grid_parameters import GridBench
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import BenchParameters
from emberbed_sim.plant.thermal import ThermalNetwork
from emberbed_sim.plant.thermocouple import Thermocouple
from tests.benchmarks.speed.figures import (
    Figure,
    against_all,
    best_s,
    shown_rate,
    shown_s,
)
from tests.support.profiles import hold_profile

PROFILE_S, TICKS = 480, 4800
SHARE, GRID_W = 0.5, 600.0
BATCH = 2048
LARGE_STEP_S = 0.3  # its end point is within 0.01 K of a fine solver: tests/sim/kernel
WARM_ROUNDS, RUNS = 6, 3


def lumped() -> list[Figure]:
    """One profile, open loop, with one bead."""
    bench = BenchParameters(sensors=BenchParameters().sensors[:1])
    table, power = benches_of([bench]), np.full(TICKS, SHARE)
    course = partial(march, table, power)
    ours_s, numpy_s, plant_s, smooth_s, restarted_s = best_s(
        partial(course, engine="c"),
        partial(course, engine="numpy"),
        partial(_plant, bench),
        partial(_solved, bench, [PROFILE_S]),
        partial(_solved, bench, [1] * (PROFILE_S // 40)),
    )
    return against_all(
        "lumped",
        "a profile of 480 s on the lumped plant, compiled, double precision",
        ours_s,
        [
            ("solver", "scipy's RK45, one power for all of it, rtol 1e-6", smooth_s),
            ("solver-restarted", "the same begun anew every second", 40 * restarted_s),
            ("numpy", "numpy, Heun at the tick", numpy_s),
            ("python", "the plant itself in CPython", plant_s),
        ],
    )


def _plant(bench: BenchParameters) -> None:
    heat, bead = ThermalNetwork(bench), Thermocouple(bench.sensors[0], 23.0)
    watts = SHARE * bench.emitter.watts
    for _tick in range(TICKS):
        heat.step((watts,), 0.0)
        bead.step(*heat.felt(bead.placement))


def _solved(bench: BenchParameters, spans_s: list[int]) -> None:
    heat = ThermalNetwork(bench)
    capacities, watts = np.array(heat._capacities), SHARE * bench.emitter.watts

    def rates(_s: float, kelvin: np.ndarray) -> np.ndarray:
        flows = np.array(heat._flows_w(*kelvin.tolist(), (0.0,) * 6)[:5])
        flows[0] += watts
        return flows / capacities

    state = np.full(5, heat.room_k)
    for span_s in spans_s:
        state = solve_ivp(rates, (0, span_s), state, rtol=1e-6).y[:, -1]


def batch() -> list[Figure]:
    """Thousands of benches at once: plant-seconds per second of one core."""
    bench = BenchParameters(sensors=BenchParameters().sensors[:1])
    one = rehearse_what_ifs.varied(bench, rehearse_what_ifs.draw(1, 1)[0])
    table, few = benches_of([bench, one] * (BATCH // 2)), benches_of([bench, one] * 256)
    power, coarse = np.full(TICKS, SHARE), np.full(round(PROFILE_S / LARGE_STEP_S), SHARE)
    short = power[: TICKS // 8]
    single = partial(march, table, precision="single", engine="c")
    tick_s, double_s, large_s, numpy_s = best_s(
        partial(single, power),
        partial(march, table, power, engine="c"),
        partial(single, coarse, step_s=LARGE_STEP_S, every=5),
        partial(march, few, short, engine="numpy"),
        turns=2,
    )
    rate = BATCH * PROFILE_S
    numpy_rate = 512 * PROFILE_S / 8 / numpy_s
    theirs = shown_rate(numpy_rate, "plant-s")
    rows = (
        ("batch-tick", "single precision, Heun at the tick of 0.1 s", tick_s),
        ("batch-double", "double precision, the plant's own bits", double_s),
        ("batch-large-step", f"single precision, steps of {LARGE_STEP_S} s", large_s),
    )
    return [
        Figure(
            f"{name}/numpy",
            f"{BATCH} lumped benches, {words}",
            shown_rate(rate / taken_s, "plant-s"),
            "numpy, blocks of 512, Heun at the tick",
            theirs,
            rate / taken_s / numpy_rate,
        )
        for name, words, taken_s in rows
    ]


def grid() -> list[Figure]:
    """One profile on the board in two dimensions, 24 x 12 cells in two layers."""
    watts = np.full((TICKS, 1), GRID_W)
    single, double, plant, solver = (GridPlant(GridBench()) for _ in range(4))
    part, state = TICKS // 16, solver.state[0].copy()

    def stepped() -> None:
        for _tick in range(part):
            plant.step(GRID_W)

    def solved() -> None:
        solve_ivp(lambda _s, y: solver.rates(y, GRID_W), (0, PROFILE_S / 16), state, rtol=1e-6)

    single_s, double_s, numpy_s, solver_s = best_s(
        partial(march_grid, single, watts, precision="single"),
        partial(march_grid, double, watts),
        stepped,
        solved,
        turns=2,
    )
    what = "a profile of 480 s on the grid of 24 x 12, compiled, "
    others = [
        ("numpy", "the plant itself (numpy, Heun at the tick; a sixteenth of it, times 16)",
         16 * numpy_s),
        ("solver", "scipy's RK45 with one power (a sixteenth, times 16)", 16 * solver_s),
    ]  # fmt: skip
    return [
        *against_all("grid", what + "single precision", single_s, others),
        *against_all("grid-double", what + "double precision", double_s, others[:1]),
    ]


def closed_loop() -> list[Figure]:
    """The shipped firmware in the loop, a judge watching: PyPy against CPython, same outcomes."""
    profile = parse_profile(hold_profile(for_s=120, to_c=70).encode(), "short.toml")
    bench = usual_bench(profile)
    done = rehearse(profile, 1, (), bench)
    drawn = rehearse_what_ifs.draw(RUNS, 1)
    cases = [
        Case(done.settings, done.prepared.plan, rehearse_what_ifs.varied(bench.parameters, one), n)
        for n, one in enumerate(drawn)
    ]
    there = Traced(find())
    outcomes = run_cases(cases, 0)
    (plain_s,) = best_s(partial(run_cases, cases, 0), turns=1)
    taken = []
    for _round in range(WARM_ROUNDS):
        began_s = there.cpu_s()
        assert there.what_ifs(cases, 0) == outcomes
        taken.append(there.cpu_s() - began_s)
    name = there.name
    there.close()
    # until two minutes into the cooling, which is where a what-if ends
    simulated_s = sum(sum(took[0] for took in one.stages.values()) for one in outcomes)
    scale = PROFILE_S / simulated_s
    return [
        Figure(
            "closed-loop/cpython",
            f"480 s of the shipped firmware in the loop, judge watching, {name}, warm",
            shown_s(min(taken) * scale),
            "the same sources in CPython",
            shown_s(plain_s * scale),
            plain_s / min(taken),
        )
    ]
