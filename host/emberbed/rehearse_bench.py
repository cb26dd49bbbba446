"""What a profile is rehearsed on: a simulated bench, its heat lumped or on a grid."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from emberbed.builder.circuits import circuit_at
from emberbed.device_description import DeviceDescription, decode_settings
from emberbed.learn.identified import Identified
from emberbed.plain_text import printable
from emberbed.profiles.reader import ProfileFile
from emberbed_sim.bench_device import SOCKET_WATTS, bench_settings, parse_sensors
from emberbed_sim.plant.bench_plant import BenchPlant
from emberbed_sim.plant.heater import PLANTS, bench_in_zones, plant_of
from emberbed_sim.plant.parameters import (
    DEFAULT_SENSORS,
    BenchParameters,
    SensorPlacement,
    bench_for_board,
)

LUMPED, GRID, TWO_ZONES = PLANTS


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


def judged_on(
    profile_file: ProfileFile,
    sensors: Sequence[str] = (),
    plant: str = LUMPED,
    circuit_a: int | None = None,
    mains_v: float | None = None,
) -> DeviceDescription:
    """Return the simulated device that a profile is judged on; what its socket gives comes from a
    circuit, if one is named. Raises ValueError, or BadCircuit."""
    if plant not in PLANTS:
        raise ValueError(
            f"--plant {printable(plant)} is not known: give one of {', '.join(PLANTS)}"
        )
    if circuit_a is None and mains_v is not None:
        raise ValueError("--mains is the voltage of a circuit: add --circuit, or leave it out")
    socket_w: float = SOCKET_WATTS
    if circuit_a is not None:
        circuit, volts = circuit_at(circuit_a, mains_v)
        socket_w = circuit.watts(volts)
    parameters = bench_in_zones(bench_of(profile_file, parse_sensors(sensors)), plant)
    return replace(decode_settings(bench_settings(parameters)), socket_watts=round(socket_w))


def usual_bench(
    profile_file: ProfileFile,
    plant: str = LUMPED,
    sensors: Sequence[SensorPlacement] = DEFAULT_SENSORS,
) -> Bench:
    """Return the simulated bench with the profile's board; `plant` is one of PLANTS."""
    parameters = bench_in_zones(bench_of(profile_file, sensors), plant)
    return Bench(parameters, lambda: plant_of(parameters, plant))
