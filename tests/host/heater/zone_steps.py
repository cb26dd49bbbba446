"""Step tests of heaters in zones: on the simulated bench with the firmware, or of a made model."""

from functools import cache

import numpy as np
from scipy.integrate import solve_ivp

from emberbed.bench.prepare import prepare
from emberbed.device_description import decode_settings
from emberbed.heater.coupling import ZoneSteps
from emberbed.heater.run_rows import even_rows
from emberbed.heater.step_test import StepTest
from emberbed.records import decode_record
from emberbed_fw import run_states as rs
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.plant.heater import SimulatedHeater, bench_in_zones
from emberbed_sim.plant.parameters import (
    DEFAULT_SENSORS,
    BenchParameters,
    SensorPlacement,
    bench_for_board,
)

OVER_THE_RIM_MM = (70.0, -30.0)  # two thirds of the way out: over the ends of the rim zone
ROOM_K = 296.15


@cache
def bench(mass_g: float = 240.0) -> BenchParameters:
    """Return the bench in two zones, its second sensor over the outer one."""
    rim = SensorPlacement("edge", "board_edge", stray_ir=0.03, at_mm=OVER_THE_RIM_MM)
    board = bench_for_board(mass_g, 180, 120, (DEFAULT_SENSORS[0], rim))
    return bench_in_zones(board, "two-zones")


@cache
def steps_on_bench(mass_g: float = 240.0, limit_c: float = 100.0) -> ZoneSteps:
    """Return the rows of a step test that the firmware made on the bench."""
    parameters = bench(mass_g)
    settings = bench_settings(parameters)
    plan = prepare(StepTest(limit_c), decode_settings(settings)).plan
    heater = SimulatedHeater(parameters, 1, (), "two-zones")
    loop = ClosedLoop(settings, plan, heater, Operator())
    records = [
        record for record in map(decode_record, loop.run()) if record.state in rs.STAGED_STATES
    ]
    seconds = np.array([one.tick / 10 for one in records])
    columns = [
        even_rows(
            seconds,
            np.array([one.driven_zones >> number & 1 for one in records], float),
            np.array([getattr(one, f"channel{number}_cdeg") for one in records], float),
        )
        for number in (0, 1)
    ]
    names = tuple(placed.name for placed in parameters.sensors)
    drives, celsius = ([column[part] for column in columns] for part in (1, 2))
    return ZoneSteps(
        columns[0][0] - columns[0][0][0], np.array(drives).T, np.array(celsius).T, names
    )


def made_steps(rise: np.ndarray, alone: bool = True, noise_c: float = 0.05) -> ZoneSteps:
    """Return the rows of a made heater with this matrix (K/s, sensor by zone), by scipy's solver.

    Emitters of 900 K and 20 s, spots that lose 0.004 per s and pass heat on by 0.01 per s.
    """
    sensors, zones = rise.shape
    together = [(np.full(zones, 0.5), 200.0), (np.zeros(zones), 180.0)]
    turns = [(0.4 * np.eye(zones)[zone], 90.0) for _ in range(2) for zone in range(zones)]
    pieces = [*together, *(turns if alone else [(np.full(zones, 0.25), 360.0)]),
              (np.zeros(zones), 120.0)]  # fmt: skip
    state = np.full(zones + sensors, ROOM_K)
    seconds, driven, celsius = [], [], []
    begin_s = 0.0
    for share, lasts_s in pieces:
        at_s = np.arange(0.0, lasts_s, 2.0)
        solved = solve_ivp(
            lambda _t, y, share=share: _rates(y, share, rise), (0, lasts_s), state,
            t_eval=[*at_s, lasts_s], rtol=1e-7, atol=1e-6,
        )  # fmt: skip
        seconds += (begin_s + at_s).tolist()
        driven += [share] * len(at_s)
        celsius += (solved.y[zones:, :-1].T - 273.15).tolist()
        state, begin_s = solved.y[:, -1], begin_s + lasts_s
    noise = np.random.default_rng(1).normal(0.0, noise_c, (len(seconds), sensors))
    names = tuple(f"sensor{number}" for number in range(sensors))
    return ZoneSteps(np.array(seconds), np.array(driven), np.array(celsius) + noise, names)


def _rates(state: np.ndarray, share: np.ndarray, rise: np.ndarray) -> np.ndarray:
    zones = rise.shape[1]
    emitters, spots = state[:zones], state[zones:]
    full_k4 = 900.0**4 - ROOM_K**4
    sent = (emitters**4 - ROOM_K**4) / full_k4
    taken = (rise * (emitters[None] ** 4 - spots[:, None] ** 4) / full_k4).sum(axis=1)
    radiated = (spots**4 - ROOM_K**4) / (4 * 423.15**3)
    lost = 0.004 * (0.55 * radiated + 0.45 * (spots - ROOM_K))
    even = 0.01 * (spots.sum() - len(spots) * spots)
    return np.concatenate([900.0 / 80.0 * (share - sent), taken - lost + even])
