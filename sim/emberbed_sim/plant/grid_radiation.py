"""Radiation below the board: diffuse grey emitters, board cells and the black housing around them.

Takes areas, emissivities and view factors of the first bench build, gives matrices that turn fourth
powers of temperature (K4) into watts. Reflections between emitters and board are all counted: the
radiosities are solved once, here. Filaments send short-wave light the same way, without reflection.
Order of the sources: cells, emitters, filaments, housing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.parameters import ZERO_C_K
from emberbed_sim.plant.thermal import SIGMA_W_M2_K4
from emberbed_sim.plant.view_factors import cell_view_factors


@dataclass(frozen=True)
class BelowExchange:
    """With E emitters, F filaments, n cells and the sources' fourth powers q (n + E + F + 1):

    gather @ q = heat gained by emitters (E) and filaments (F) in W, then what goes to the cells:
    radiosities (E) and filament powers (F) in K4, called sent; spread @ sent is the heat the cells
    absorb from them, `spread.sum(1) * T^4` what they send back, `to_housing` W/K4 to the housing.
    """

    gather: np.ndarray  # [2E + 2F, n + E + F + 1]
    spread: np.ndarray  # [n, E + F]
    to_housing: np.ndarray  # n


@lru_cache(maxsize=256)
def bank_view_factors(
    faces: tuple[tuple[float, ...], ...],
    x_lines: tuple[float, ...],
    y_lines: tuple[float, ...],
    gap: float,
) -> np.ndarray:
    """Return the share of each emitter's radiation that meets each cell, [emitter, cell]."""
    return np.array([cell_view_factors(face, x_lines, y_lines, gap).ravel() for face in faces])


def below_exchange(
    emitters: Sequence[GridEmitter],
    seen: np.ndarray,
    cell_m2: float,
    cell_emissivity: np.ndarray,
    short_wave_absorptivity: float,
) -> BelowExchange:
    """Return the exchange of these emitters with cells they see by the shares `seen`."""
    faces_m2 = np.array([emitter.area_m2 for emitter in emitters])
    emissivity = np.array([emitter.build.emissivity for emitter in emitters])
    back = np.array([emitter.build.back_emissivity for emitter in emitters])
    lit = [row for row, emitter in enumerate(emitters) if emitter.build.has_filament]
    cells, count, filaments = seen.shape[1], len(emitters), len(lit)
    cells_see = seen.T * faces_m2 / cell_m2  # reciprocity, [cell, emitter]
    open_below = 1.0 - cells_see.sum(axis=1)
    reflected = 1.0 - cell_emissivity

    incident = np.zeros((count, cells + count + filaments + 1))  # on emitters, but their own light
    incident[:, :cells] = seen * cell_emissivity
    incident[:, -1] = 1.0 - seen.sum(axis=1) + seen @ (reflected * open_below)
    own = np.zeros_like(incident)
    own[:, cells : cells + count] = np.diag(emissivity)
    comes_back = (seen * reflected) @ cells_see
    bounce = np.eye(count) - (1 - emissivity)[:, None] * comes_back
    sent = np.linalg.solve(bounce, own + (1 - emissivity)[:, None] * incident)
    absorbed = incident + comes_back @ sent
    absorbed[:, cells : cells + count] -= np.eye(count)
    gained = SIGMA_W_M2_K4 * (faces_m2 * emissivity)[:, None] * absorbed
    behind = SIGMA_W_M2_K4 * faces_m2 * back
    gained[:, cells : cells + count] -= np.diag(behind)
    gained[:, -1] += behind
    spread = SIGMA_W_M2_K4 * cell_m2 * cell_emissivity[:, None] * cells_see

    light, to_cells, to_bodies = _filaments(emitters, lit, seen, short_wave_absorptivity, cells)
    gained += to_bodies
    glowing = np.zeros((filaments, incident.shape[1]))
    glowing[:, cells + count : cells + count + filaments] = np.eye(filaments)
    return BelowExchange(
        np.vstack((gained, light, sent, glowing)),
        np.hstack((spread, to_cells)),
        SIGMA_W_M2_K4 * cell_m2 * cell_emissivity * open_below,
    )


def filament_w_k4(emitter: GridEmitter) -> float:
    """Return what a filament radiates per K4, from its temperature at rated power."""
    return emitter.watts / (emitter.build.filament_c + ZERO_C_K) ** 4


def _filaments(
    emitters: Sequence[GridEmitter],
    lit: Sequence[int],
    seen: np.ndarray,
    absorptivity: float,
    cells: int,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return rows of the filaments' gain, columns to the cells, and what their bodies gain."""
    count, filaments = len(emitters), len(lit)
    light = np.zeros((filaments, cells + count + filaments + 1))
    to_cells = np.zeros((cells, filaments))
    to_bodies = np.zeros((count, light.shape[1]))
    for row, at in enumerate(lit):
        all_w_k4 = filament_w_k4(emitters[at])
        body_w_k4 = all_w_k4 * emitters[at].build.body_share
        to_cells[:, row] = (all_w_k4 - body_w_k4) * absorptivity * seen[at]
        own = cells + count + row
        light[row, :cells] = to_cells[:, row]
        light[row, cells + at] = body_w_k4
        light[row, own] = -all_w_k4
        light[row, -1] = all_w_k4 - body_w_k4 - to_cells[:, row].sum()
        to_bodies[at, own] = body_w_k4
        to_bodies[at, cells + at] = -body_w_k4
    return light, to_cells, to_bodies
