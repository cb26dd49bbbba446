"""What a profile is rehearsed on: a simulated bench, its heat lumped or on a grid."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from emberbed.learn.identified import Identified
from emberbed.profiles.reader import ProfileFile
from emberbed_sim.plant.bench_plant import BenchPlant
from emberbed_sim.plant.heater import PLANTS, plant_of
from emberbed_sim.plant.parameters import (
    DEFAULT_SENSORS,
    BenchParameters,
    SensorPlacement,
    bench_for_board,
)

LUMPED, GRID = PLANTS


@dataclass(frozen=True)
class Bench:
    """`heat` makes the heat of one run; `identified` is the heater file of it, if there is one."""

    parameters: BenchParameters
    heat: Callable[[], BenchPlant]
    identified: Identified | None = None


def bench_of(
    profile_file: ProfileFile, sensors: Sequence[SensorPlacement] = DEFAULT_SENSORS
) -> BenchParameters:
    """Return the default bench with the profile's board on it, with the usual one if not known."""
    board = profile_file.model.board
    if board is None:
        return BenchParameters(sensors=tuple(sensors))
    return bench_for_board(board.mass_g, board.length_mm, board.width_mm, sensors)


def usual_bench(
    profile_file: ProfileFile,
    plant: str = LUMPED,
    sensors: Sequence[SensorPlacement] = DEFAULT_SENSORS,
) -> Bench:
    """Return the simulated bench with the profile's board; `plant` is one of PLANTS."""
    parameters = bench_of(profile_file, sensors)
    return Bench(parameters, lambda: plant_of(parameters, plant))
