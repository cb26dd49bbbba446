"""Benches of the grid plant stripped down to one kind of heat flow each, for exact solutions."""

from dataclasses import replace

import numpy as np

from emberbed_sim.plant.grid_board import sheet_of
from emberbed_sim.plant.grid_emitters import EmitterKind, GridEmitter
from emberbed_sim.plant.grid_parameters import (
    DEFAULT_PARTS,
    GridBench,
    GridBoard,
    GridSurroundings,
    Stackup,
)
from emberbed_sim.plant.grid_plant import GridPlant, Numbers
from emberbed_sim.plant.parameters import (
    TICK_S,
    ZERO_C_K,
    BoardParameters,
)

ENDLESS_J = 1e15  # a heat capacity that holds its temperature
FAR_MM = 1e6  # a gap across which nothing is seen
DENSE = Stackup(8, 35.0, 0.7)  # 48.5 W/m K, 4.35 kg/m2
NO_RIM = (0.0, 0.0, 0.0, 0.0)
SMALL = GridBoard(parts=DEFAULT_PARTS, cells=(8, 4))


def plate(emissivity: float, heat_j_m2_k: float = ENDLESS_J) -> EmitterKind:
    """An emitter that does nothing but radiate from its face."""
    return EmitterKind("plate", emissivity, 0.0, heat_j_m2_k, 0.0, 0.0, 2000.0, (0.0, 0.0))


def held_at(room_c: float) -> GridSurroundings:
    """Surroundings that keep one temperature."""
    return GridSurroundings(room_c, ENDLESS_J, ENDLESS_J)


def sheet_board(
    length_mm: float = 180.0,
    width_mm: float = 120.0,
    cells: tuple[int, int] = (24, 12),
    emissivity: float = 0.0,
    convection: float = 0.0,
    rim_w_m_k: tuple[float, float, float, float] = NO_RIM,
    stackup: Stackup = DENSE,
    **others: float,
) -> GridBoard:
    """A board of laminate and copper alone; without more words it keeps its heat."""
    areal_kg_m2 = float(np.mean(sheet_of(stackup, 0.5).areal_mass_kg_m2))
    mass_g = areal_kg_m2 * length_mm * width_mm * 1e-3
    scale = BoardParameters(mass_g, length_mm, width_mm, emissivity, convection)
    return replace(GridBoard(scale, stackup, cells=cells, rim_w_m_k=rim_w_m_k), **others)


def lone_plant(board: GridBoard, room_c: float) -> GridPlant:
    """A board alone in surroundings that keep their temperature."""
    far = GridEmitter(plate(0.0))
    return GridPlant(GridBench(board, (far,), FAR_MM, held_at(room_c)))


def run(plant: GridPlant, seconds: float, zone_w: Numbers = 0.0, **others: float) -> None:
    for _ in range(round(seconds / TICK_S)):
        plant.step(zone_w, **others)


def top_c(plant: GridPlant) -> np.ndarray:
    return plant.map_c()[0]


def gains_w(plant: GridPlant, zone_w: Numbers = 0.0, **others: float) -> np.ndarray:
    """Return the heat every node of one plant takes up now."""
    rates = plant.rates(plant.state[0], zone_w, **others)
    return rates[: plant.layout.nodes] * plant.heat_j_k[0]


def board_loss_w(plant: GridPlant, board_c: float, **others: float) -> float:
    """Return what the board with its parts loses at one temperature all over."""
    plant.set_board_c(board_c)
    return -float(gains_w(plant, **others)[: plant.layout.bottom.stop].sum())


def set_emitters_c(plant: GridPlant, emitter_c: float) -> None:
    plant.state[:, plant.layout.sources] = emitter_c + ZERO_C_K
