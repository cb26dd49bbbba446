"""All numbers of the grid plant's equations, gathered from a GridBench once, before any step.

State vector, in this order: mounted parts, cells' upper faces, cells' undersides, emitters,
filaments, housing, above (K); then electric energy, energy from the jet, energy to the room (J).
Arrays may carry a leading axis, one entry per plant; `stacked` makes them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

from emberbed_sim.plant.grid_board import BoardCells, board_cells
from emberbed_sim.plant.grid_emitters import zone_shares
from emberbed_sim.plant.grid_parameters import SIDES, GridBench
from emberbed_sim.plant.grid_radiation import (
    BelowExchange,
    bank_view_factors,
    below_exchange,
    filament_w_k4,
)
from emberbed_sim.plant.natural_convection import laminar_film
from emberbed_sim.plant.parameters import TICK_S, ZERO_C_K
from emberbed_sim.plant.thermal import SIGMA_W_M2_K4

INTEGRALS = 3
HOTTEST_K = 1150.0  # quartz at its vendor limit, for the stability check
STABLE_RATE_S = 1.8 / TICK_S  # Heun's rule is stable up to 2 / step


@dataclass(frozen=True)
class Layout:
    """Where things are in the state vector; equal for all plants of a batch."""

    parts: int
    columns: int
    rows: int
    emitters: int
    filaments: int

    @cached_property
    def cells(self) -> int:
        return self.columns * self.rows

    @cached_property
    def top(self) -> slice:
        return slice(self.parts, self.parts + self.cells)

    @cached_property
    def bottom(self) -> slice:
        return slice(self.top.stop, self.top.stop + self.cells)

    @cached_property
    def sources(self) -> slice:
        """Emitters and filaments."""
        return slice(self.bottom.stop, self.bottom.stop + self.emitters + self.filaments)

    @cached_property
    def housing(self) -> int:
        return self.sources.stop

    @cached_property
    def nodes(self) -> int:
        return self.housing + 2

    @cached_property
    def size(self) -> int:
        return self.nodes + INTEGRALS


@dataclass(frozen=True)
class Couplings:
    """Coefficients; `faces` are all nodes but the surroundings, each with air of its own side."""

    heat_j_k: np.ndarray  # nodes
    natural_up: np.ndarray  # faces, W/K^1.25 while the face is hotter than its air
    natural_down: np.ndarray  # faces, while it is colder
    film_at_zero: np.ndarray  # 1: the film factor is this + film_per_k x film temperature
    film_per_k: np.ndarray  # 1
    steady_w_k: np.ndarray  # faces: rim, emitters' convection
    fan_w_k: np.ndarray  # faces
    direct_w_k4: np.ndarray  # faces: radiation to the surroundings of their side
    along_w_k: np.ndarray
    across_w_k: np.ndarray
    through_w_k: np.ndarray
    contact_w_k: np.ndarray  # [part, cell]
    gather: np.ndarray
    spread: np.ndarray
    jet_w_k: np.ndarray  # parts and top: with the nozzle right over each
    draught_w_k: np.ndarray  # parts and top
    room_loss_w_k: np.ndarray  # housing, above
    exchange_w_k: np.ndarray  # 1
    room_k: np.ndarray  # 1
    zone_shares: np.ndarray  # [source, zone]
    infrared_m2: np.ndarray  # n: black area of a cell's underside


def layout_of(bench: GridBench) -> Layout:
    """Return the sizes of this bench's state."""
    lit = sum(emitter.build.has_filament for emitter in bench.emitters)
    board = bench.board
    return Layout(len(board.parts), *board.cells, len(bench.emitters), lit)


def couplings_of(bench: GridBench) -> Couplings:
    """Return the coefficients of one bench; refuse one that the tick is too long for."""
    board, around, cells = bench.board, bench.surroundings, board_cells(bench.board)
    parts_m2 = np.array([part.area_m2 for part in board.parts])
    upper_m2 = np.concatenate((parts_m2, cells.bare * cells.cell_m2))
    under_m2 = np.full(cells.bare.size, cells.cell_m2)
    emissivity = np.full(cells.bare.size, board.scale.emissivity)
    below = _below(bench, cells, emissivity)
    film = laminar_film(board.plate_length_m)
    rises, rests = film.up_w * board.scale.convection, film.down_w * board.scale.convection
    heat_j_k, convection_w_k, shares = _sources(bench)
    none = np.zeros(heat_j_k.size)
    parts_j_k = np.array([part.heat_capacity_j_k for part in board.parts])
    around_j_k = np.array([around.housing_j_k, around.above_j_k])
    contact_w_m2_k = np.array([part.contact_w_m2_k for part in board.parts]).reshape(-1, 1)
    couplings = Couplings(
        heat_j_k=np.concatenate((parts_j_k, cells.heat_j_k, heat_j_k, around_j_k)),
        natural_up=np.concatenate((rises * upper_m2, rests * under_m2, none)),
        natural_down=np.concatenate((rests * upper_m2, rises * under_m2, none)),
        film_at_zero=np.array([1 - film.per_k * film.first_k]),
        film_per_k=np.array([film.per_k]),
        steady_w_k=np.concatenate((0 * parts_j_k, cells.rim_w_k, convection_w_k)),
        fan_w_k=np.concatenate((upper_m2, under_m2, none)) * board.scale.fan_w_m2_k,
        direct_w_k4=np.concatenate((_upward(bench, upper_m2), below.to_housing, none)),
        along_w_k=cells.along_w_k,
        across_w_k=cells.across_w_k,
        through_w_k=cells.through_w_k,
        contact_w_k=cells.covered * cells.cell_m2 * contact_w_m2_k,
        gather=below.gather,
        spread=below.spread,
        jet_w_k=bench.jet.middle_w_m2_k * upper_m2,
        draught_w_k=_draught(bench, cells) * upper_m2,
        room_loss_w_k=np.array([around.housing_loss_w_k, around.above_loss_w_k]),
        exchange_w_k=np.array([around.exchange_w_k]),
        room_k=np.array([around.room_c + ZERO_C_K]),
        zone_shares=shares,
        infrared_m2=emissivity * cells.cell_m2,
    )
    _check_tick(bench, couplings)
    return couplings


def stacked(many: Sequence[Couplings]) -> Couplings:
    """Return the coefficients of many plants with one leading axis."""
    first = many[0]
    return replace(
        first,
        **{
            field.name: np.stack([getattr(one, field.name) for one in many])
            for field in fields(first)
        },
    )


def _below(bench: GridBench, cells: BoardCells, emissivity: np.ndarray) -> BelowExchange:
    seen = bank_view_factors(
        tuple(emitter.extent_mm for emitter in bench.emitters),
        tuple(cells.x_lines_mm.tolist()),
        tuple(cells.y_lines_mm.tolist()),
        bench.gap_mm,
    )
    absorptivity = bench.board.short_wave_absorptivity
    return below_exchange(bench.emitters, seen, cells.cell_m2, emissivity, absorptivity)


def _sources(bench: GridBench) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return J/K, W/K of convection and zone shares of the emitters and then the filaments."""
    lit = [row for row, emitter in enumerate(bench.emitters) if emitter.build.has_filament]
    filaments_j_k = []
    for row in lit:
        emitter, kind = bench.emitters[row], bench.emitters[row].build
        hot_w_k = 4 * filament_w_k4(emitter) * (kind.filament_c + ZERO_C_K) ** 3
        filaments_j_k.append(hot_w_k * kind.filament_lag_s * emitter.heat_factor)
    bodies_j_k = [emitter.heat_capacity_j_k for emitter in bench.emitters]
    bodies_w_k = [emitter.build.convection_w_m2_k * emitter.area_m2 for emitter in bench.emitters]
    to_emitters = zone_shares(bench.emitters)
    to_filaments = to_emitters[lit]
    to_emitters[lit] = 0.0  # the current flows in the filament
    return (
        np.array(bodies_j_k + filaments_j_k),
        np.array(bodies_w_k + [0.0] * len(lit)),
        np.vstack((to_emitters, to_filaments)),
    )


def _upward(bench: GridBench, upper_m2: np.ndarray) -> np.ndarray:
    """Return the radiation of parts and upper faces to what is above, W/K4."""
    board = bench.board
    plain = board.scale.emissivity if board.top_emissivity is None else board.top_emissivity
    parts = [part.emissivity for part in board.parts]
    return SIGMA_W_M2_K4 * upper_m2 * np.array(parts + [plain] * (upper_m2.size - len(parts)))


def _draught(bench: GridBench, cells: BoardCells) -> np.ndarray:
    """Return the mean h of the draught over each part and upper face: laminar flow on a plate."""
    side, extent = SIDES.index(bench.draught.side), bench.board.extent_mm
    low, high = (0, 1) if side < 2 else (2, 3)
    lines_mm = cells.x_lines_mm if side < 2 else cells.y_lines_mm
    row = np.arange(cells.bare.size)
    row = row % bench.board.cells[0] if side < 2 else row // bench.board.cells[0]
    parts = np.array([part.extent_mm for part in bench.board.parts]).reshape(-1, 4)
    begins_mm = np.concatenate((parts[:, low], lines_mm[row]))
    ends_mm = np.concatenate((parts[:, high], lines_mm[row + 1]))
    near_mm, far_mm = np.sort(np.abs(np.array([begins_mm, ends_mm]) - extent[side]), axis=0)
    length_mm = extent[high] - extent[low]
    falls = np.sqrt(length_mm) * (np.sqrt(far_mm) - np.sqrt(near_mm)) / (far_mm - near_mm)
    return bench.draught.mean_w_m2_k * falls


def _check_tick(bench: GridBench, couplings: Couplings) -> None:
    """Refuse a bench with something faster than Heun's rule can follow (Gershgorin's bound)."""
    layout = layout_of(bench)
    leaves_w_k = np.zeros(layout.nodes)
    board = leaves_w_k[layout.parts : layout.bottom.stop]
    for step, conductance in (
        (1, couplings.along_w_k),
        (layout.columns, couplings.across_w_k),
        (layout.cells, couplings.through_w_k),
    ):
        board[:-step] += conductance
        board[step:] += conductance
    leaves_w_k[layout.top] += couplings.contact_w_k.sum(axis=0)
    leaves_w_k[: layout.parts] += couplings.contact_w_k.sum(axis=1)
    leaves_w_k[: layout.housing] += couplings.steady_w_k
    leaves_w_k[: layout.top.stop] += couplings.jet_w_k
    kinds = [emitter.build for emitter in bench.emitters]
    glowing_k = [kind.filament_c + ZERO_C_K for kind in kinds if kind.has_filament]
    hottest_k = np.array([HOTTEST_K] * layout.emitters + glowing_k)
    own_w_k4 = -np.diag(couplings.gather[: hottest_k.size, layout.cells :])
    leaves_w_k[layout.sources] += 4 * hottest_k**3 * own_w_k4
    rates_s = 2 * leaves_w_k / couplings.heat_j_k
    worst = int(np.argmax(rates_s))
    if rates_s[worst] > STABLE_RATE_S:
        names = ("a mounted part", "a cell of the board", "an emitter")
        ends = (layout.parts, layout.bottom.stop)
        raise ValueError(
            f"The tick of {TICK_S:g} s is too long for {names[sum(worst >= end for end in ends)]}, "
            f"which follows within {2 / rates_s[worst]:.3f} s; give larger cells or a larger heat "
            f"capacity."
        )
