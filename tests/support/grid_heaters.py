"""A simulated heater with its board on a grid: driven, warmed, its books read."""

import numpy as np

from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.grid_thermal import GridThermal
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.switches import OUT_CONTACTOR
from tests.support.warm_heaters import BENCH


def grid_heater(*faults: str, seed: int = 1) -> SimulatedHeater:
    return SimulatedHeater(BENCH, seed, [parse_fault(fault) for fault in faults], "grid")


def drive(heater: SimulatedHeater, seconds: float, outputs: int = OUT_CONTACTOR) -> SimulatedHeater:
    for tick in range(round(seconds * 10)):
        heater.step(1 if tick % 10 < 3 else 0, outputs)
    return heater


def warm(*faults: str) -> SimulatedHeater:
    """Return a bench whose board has been put to 150 degC, as in a soak."""
    heater = grid_heater(*faults)
    assert isinstance(heater.thermal, GridThermal)
    heater.thermal.plant.set_board_c(150.0)
    heater.thermal.plant.set_around_c(320.0, 48.0, 28.0)
    for couple, bead_c in zip(heater.beads.couples, (150.0, 150.0, 150.0, 320.0), strict=True):
        couple.settle(bead_c)
    return heater


def books(heater: SimulatedHeater) -> tuple[float, float]:
    """Return what came in and what is there or has left, in J."""
    heat = heater.thermal
    came_j = heat.energy_in_j + heat.energy_from_air_j + heat.energy_carried_j
    return came_j, heat.stored_j() + heat.energy_to_room_j


def map_c(heater: SimulatedHeater) -> np.ndarray:
    """Return the board's upper face, [y, x]."""
    assert isinstance(heater.thermal, GridThermal)
    return heater.thermal.plant.map_c()[0]
