"""The heaters of the control benchmark: the 2-D plant with three kinds of emitters, and mismatch.

`Mismatch` says how a heater differs from the identified one; `bench_of` and `heat_of` make what the
firmware's closed loop runs on, `Batch` the same physics for many heaters in one step, with power as
a share of full and readings without noise.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from emberbed_sim.plant.grid_emitters import KINDS, GridEmitter
from emberbed_sim.plant.grid_from_bench import CONTROL_PLACE, beside_mm
from emberbed_sim.plant.grid_parameters import (
    GridBench,
    GridBoard,
    GridSurroundings,
    Place,
    chip_part,
)
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.grid_thermal import GridThermal
from emberbed_sim.plant.parameters import (
    TICK_S,
    ZERO_C_K,
    BenchParameters,
    BoardParameters,
    MainsParameters,
    SurroundingsParameters,
    sensor_at,
)

EMITTERS = ("halogen", "quartz", "ceramic")
SENSOR = "board"
CELLS = (12, 6)  # of 15 x 20 mm
QUICK_CELLS = (3, 2)  # for answers to pulses alone
WATTS = 1000.0
MASS_G = 240.0
TICKS_PER_S = round(1 / TICK_S)
MISMATCHED, DRAWN_SEED = 8, 7  # heaters of the comparison: optima.json knows their optima


@dataclass(frozen=True)
class Mismatch:
    """How a heater differs from the one that was identified: factors, and the room in degC."""

    mass: float = 1.0
    mains: float = 1.0  # of the nominal voltage
    emissivity: float = 1.0  # of emitters and board, no more than 1 in all
    room_c: float = 23.0
    sensor_lag: float = 1.0


NOMINAL = Mismatch()
RANGES = {
    "mass": (0.7, 1.3),
    "mains": (0.9, 1.1),
    "emissivity": (0.8, 1.2),
    "room_c": (10.0, 35.0),
    "sensor_lag": (0.6, 2.0),
}


def drawn(count: int, seed: int) -> list[Mismatch]:
    """Return heaters drawn evenly from RANGES; the first ones are the same for any count."""
    chance = np.random.default_rng(seed)
    return [
        Mismatch(**{name: float(chance.uniform(*RANGES[name])) for name in RANGES})
        for _ in range(count)
    ]


def bench_of(mismatch: Mismatch) -> BenchParameters:
    """Return what the closed loop knows besides the heat: sensor, mains, room."""
    nominal_v = MainsParameters.nominal_v
    placed = sensor_at(SENSOR, "board_centre")
    return BenchParameters(
        board=_board(mismatch),
        surroundings=SurroundingsParameters(room_c=mismatch.room_c),
        mains=MainsParameters(nominal_v, nominal_v * mismatch.mains),
        sensors=(replace(placed, lag_s=placed.lag_s * mismatch.sensor_lag),),
    )


def grid_of(kind: str, mismatch: Mismatch, cells: tuple[int, int] = CELLS) -> GridBench:
    """Return the bench in two dimensions."""
    build = KINDS[kind]
    build = replace(build, emissivity=min(1.0, build.emissivity * mismatch.emissivity))
    bench = bench_of(mismatch)
    return GridBench(
        GridBoard(bench.board, parts=(chip_part(bench.chip),), cells=cells),
        (GridEmitter(build, WATTS),),
        surroundings=GridSurroundings(room_c=mismatch.room_c),
        places=(Place(CONTROL_PLACE, beside_mm(bench), 0.0),),
    )


def heat_of(kind: str, mismatch: Mismatch) -> GridThermal:
    """Return the heat for a SimulatedHeater."""
    return GridThermal(grid_of(kind, mismatch))


class Batch:
    """Many heaters at rest; `step` takes the power of each in parts of full for one tick."""

    def __init__(
        self, kind: str, heaters: Sequence[Mismatch], cells: tuple[int, int] = CELLS
    ) -> None:
        self._plant = GridPlant([grid_of(kind, one, cells) for one in heaters])
        benches = [bench_of(one) for one in heaters]
        self._full_w = WATTS * np.array([bench.mains.power_factor for bench in benches])
        sensors = [bench.sensors[0] for bench in benches]
        self._stray = np.array([sensor.stray_ir for sensor in sensors])
        self._keeps = np.exp(-TICK_S / np.array([sensor.lag_s for sensor in sensors]))
        self.reading_c = np.array([one.room_c for one in heaters], float)

    def step(self, power: np.ndarray) -> np.ndarray:
        """Return the beads in degC after a tick."""
        self._plant.step((power * self._full_w)[:, None])
        place_c = self._plant.place_k(CONTROL_PLACE) - ZERO_C_K
        target_c = place_c + self._stray * self._plant.net_ir_kw_m2(CONTROL_PLACE)
        self.reading_c = target_c + (self.reading_c - target_c) * self._keeps
        return self.reading_c

    def steps(self, power: np.ndarray, ticks: int) -> np.ndarray:
        """Return the beads after each of `power`'s rows, each held for so many ticks."""
        read_c = np.empty_like(power)
        for row, held in enumerate(power):
            for _tick in range(ticks):
                self.step(held)
            read_c[row] = self.reading_c
        return read_c


def _board(mismatch: Mismatch) -> BoardParameters:
    usual = BoardParameters()
    emissivity = min(1.0, usual.emissivity * mismatch.emissivity)
    return replace(usual, mass_g=MASS_G * mismatch.mass, emissivity=emissivity)
