"""The board as finite volumes: cells, heat capacities and conductances, from a GridBoard.

Cells are numbered row by row from (x_low, y_low), x fastest; `[y, x]` arrays are flattened that
way. Each cell has an upper and an under surface temperature: they carry half the laminate's heat
capacity each and are joined by the laminate's conductance, so that a steady flow through the board
and a steady ramp heated from one side show the exact difference between its faces.
"""

from dataclasses import dataclass, replace

import numpy as np

from emberbed_sim.plant.grid_emitters import overlap_mm2
from emberbed_sim.plant.grid_parameters import GridBoard, Stackup
from emberbed_sim.plant.parameters import COMPONENT_J_KG_K

# (density kg/m3, specific heat J/kg K, in-plane conductivity W/m K): FR-4 and copper
LAMINATE = (1850.0, 1100.0, 0.8)
COPPER = (8960.0, 385.0, 390.0)
WEIGHT_TOLERANCE = 1.05  # a board may be this much lighter than its declared stack-up


@dataclass(frozen=True)
class Sheet:
    """A laminate with copper, per m2; numbers or one value per cell."""

    areal_mass_kg_m2: np.ndarray
    areal_heat_j_m2_k: np.ndarray
    in_plane_w_m_k: np.ndarray
    through_w_m2_k: np.ndarray


def sheet_of(stackup: Stackup, through_w_m_k: float) -> Sheet:
    """Return the composite: volumes in parallel in the plane, in series through it.

    Laminate fills what was etched away.
    """
    coverage = np.asarray(stackup.coverage, dtype=float)
    thickness_m = stackup.thickness_mm * 1e-3
    copper_m = stackup.copper_layers * stackup.copper_um * 1e-6 * coverage
    if not (np.all(coverage >= 0) and np.all(coverage <= 1)):
        raise ValueError("Stackup: coverage has values outside 0 to 1; give the share of copper.")
    laminate_m = thickness_m - copper_m
    if not np.all(laminate_m > 0):
        raise ValueError(
            f"Stackup: {stackup.copper_layers} layers of {stackup.copper_um:g} um copper fill the "
            f"{stackup.thickness_mm:g} mm of the board; give fewer, or a thicker board."
        )
    mass = LAMINATE[0] * laminate_m + COPPER[0] * copper_m
    heat = LAMINATE[0] * LAMINATE[1] * laminate_m + COPPER[0] * COPPER[1] * copper_m
    in_plane = (LAMINATE[2] * laminate_m + COPPER[2] * copper_m) / thickness_m
    return Sheet(mass, heat, in_plane, through_w_m_k / laminate_m)


@dataclass(frozen=True)
class BoardCells:
    """Arrays of one board; n cells, two layers of them (top first) where it says 2n."""

    x_lines_mm: np.ndarray
    y_lines_mm: np.ndarray
    cell_m2: float
    heat_j_k: np.ndarray  # 2n
    along_w_k: np.ndarray  # 2n - 1: cell i to i + 1, zero where a row ends
    across_w_k: np.ndarray  # 2n - columns: cell i to the next row's, zero where a layer ends
    through_w_k: np.ndarray  # n: top to bottom
    rim_w_k: np.ndarray  # 2n: to the air of the cell's own side
    covered: np.ndarray  # [part, n]: share of the cell under each part
    bare: np.ndarray  # n: share of the upper face that sees the open

    @property
    def centres_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """Return x and y of every cell's middle, n each."""
        x = (self.x_lines_mm[1:] + self.x_lines_mm[:-1]) / 2
        y = (self.y_lines_mm[1:] + self.y_lines_mm[:-1]) / 2
        return np.tile(x, y.size), np.repeat(y, x.size)


def board_cells(board: GridBoard) -> BoardCells:
    """Return the board's cells."""
    columns, rows = board.cells
    x_low, x_high, y_low, y_high = board.extent_mm
    x_lines = np.linspace(x_low, x_high, columns + 1)
    y_lines = np.linspace(y_low, y_high, rows + 1)
    dx_m, dy_m = board.scale.length_mm * 1e-3 / columns, board.scale.width_mm * 1e-3 / rows
    sheet_w_k, areal_heat, part_heat, through = _laminate_arrays(board)
    top_heat = areal_heat / 2 + part_heat * board.components_on_top
    bottom_heat = areal_heat / 2 + part_heat * (1 - board.components_on_top)
    layer = sheet_w_k / 2
    covered = _covered(board, x_lines, y_lines)
    return BoardCells(
        x_lines,
        y_lines,
        dx_m * dy_m,
        np.concatenate((top_heat.ravel(), bottom_heat.ravel())) * dx_m * dy_m,
        _along(layer * dy_m / dx_m),
        _across(layer * dx_m / dy_m),
        through.ravel() * dx_m * dy_m,
        np.tile(_rim(board, layer, dx_m, dy_m).ravel(), 2),
        covered,
        1.0 - covered.sum(axis=0),
    )


def _laminate_arrays(board: GridBoard) -> tuple[np.ndarray, ...]:
    """Return [y, x] of sheet conductance W/K, laminate J/m2K, components J/m2K, through W/m2K."""
    bare = replace(board.scale, mass_g=board.bare_mass_g)
    shape = board.cells[1], board.cells[0]
    if board.stackup is None:
        through = board.across_w_m_k / (board.thickness_mm * 1e-3)
        heat = bare.heat_capacity_j_k / bare.area_m2
        return tuple(np.full(shape, value) for value in (bare.sheet_w_k, heat, 0.0, through))
    coverage = np.asarray(board.stackup.coverage, dtype=float)
    if coverage.ndim and coverage.shape != shape:
        raise ValueError(
            f"Stackup: coverage has the shape {coverage.shape}; this board has {shape[0]} rows of "
            f"{shape[1]} cells."
        )
    sheet = sheet_of(board.stackup, board.across_w_m_k)
    laminate_kg_m2 = float(np.mean(sheet.areal_mass_kg_m2))
    if laminate_kg_m2 > bare.areal_mass_kg_m2 * WEIGHT_TOLERANCE:
        raise ValueError(
            f"The stack-up alone weighs {laminate_kg_m2 * bare.area_m2 * 1e3:.0f} g, the board "
            f"without its mounted parts {bare.mass_g:.0f} g; mend the layers or the weight."
        )
    parts = max(0.0, bare.areal_mass_kg_m2 - laminate_kg_m2) * COMPONENT_J_KG_K
    sheet_w_k = sheet.in_plane_w_m_k * board.stackup.thickness_mm * 1e-3
    return tuple(
        np.broadcast_to(np.asarray(value, dtype=float), shape)
        for value in (sheet_w_k, sheet.areal_heat_j_m2_k, parts, sheet.through_w_m2_k)
    )


def _along(cell_w_k: np.ndarray) -> np.ndarray:
    """Return the conductances between neighbours in a row, both layers: half cells in series."""
    rows, columns = cell_w_k.shape
    padded = np.zeros((2, rows, columns))
    padded[:, :, :-1] = _series(cell_w_k[:, :-1], cell_w_k[:, 1:])
    return padded.ravel()[:-1]


def _across(cell_w_k: np.ndarray) -> np.ndarray:
    """Return the conductances between a row and the next, both layers."""
    rows, columns = cell_w_k.shape
    padded = np.zeros((2, rows, columns))
    padded[:, :-1, :] = _series(cell_w_k[:-1], cell_w_k[1:])
    return padded.ravel()[:-columns]


def _series(one_w_k: np.ndarray, other_w_k: np.ndarray) -> np.ndarray:
    return 2 * one_w_k * other_w_k / (one_w_k + other_w_k)


def _rim(board: GridBoard, layer_w_k: np.ndarray, dx_m: float, dy_m: float) -> np.ndarray:
    """Return each cell's conductance to the air beside the board, one layer."""
    rim_w_k = np.zeros(layer_w_k.shape)
    edges = (np.s_[:, 0], np.s_[:, -1], np.s_[0, :], np.s_[-1, :])
    for side, edge in enumerate(edges):
        surface_m, depth_m = (dy_m, dx_m) if side < 2 else (dx_m, dy_m)
        outside_w_k = board.rim_w_m_k[side] / 2 * surface_m
        inside_w_k = 2 * layer_w_k[edge] * surface_m / depth_m
        rim_w_k[edge] += outside_w_k * inside_w_k / (outside_w_k + inside_w_k)
    return rim_w_k


def _covered(board: GridBoard, x_lines: np.ndarray, y_lines: np.ndarray) -> np.ndarray:
    """Return the share of every cell under every part, [part, n]."""
    cell_mm2 = (x_lines[1] - x_lines[0]) * (y_lines[1] - y_lines[0])
    rows = [
        [
            overlap_mm2(part.extent_mm, (x_low, x_high, y_low, y_high)) / cell_mm2
            for y_low, y_high in zip(y_lines[:-1], y_lines[1:], strict=True)
            for x_low, x_high in zip(x_lines[:-1], x_lines[1:], strict=True)
        ]
        for part in board.parts
    ]
    return np.array(rows, dtype=float).reshape(len(rows), (len(x_lines) - 1) * (len(y_lines) - 1))
