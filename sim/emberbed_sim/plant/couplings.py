"""Faces, masses and conductances of a bench's lumps, from its parameters.

Takes a bench, gives J/K, m2, W/K and W/K4 as tuples in the order centre, edge, chip where nothing
else is said. The chip lies on the board's upper face and takes the place of what it covers, in
area and in heat capacity. Computed once when a bench is built, never in a step.
"""

from typing import NamedTuple

from emberbed_sim.plant.parameters import (
    CENTRE_SHARE,
    ZERO_C_K,
    BenchParameters,
    BoardParameters,
)
from emberbed_sim.plant.view_factors import coaxial_view_factor

SIGMA_W_M2_K4 = 5.670374419e-8  # exact from the SI's h, c, k
# Natural convection of a horizontal plate, hot face up and hot face down, h = c (dT / L)^1/4 with
# L = area / perimeter: the 0.54 and 0.27 Ra^1/4 correlations with air at 60-110 degC put in.
PLATE_UP_W_M2_K = 1.32
PLATE_DOWN_W_M2_K = 0.66
LEAST_CENTRE_SHARE = 0.5  # of the centre's heat that a chip leaves it on a featherweight board


class Flows(NamedTuple):
    """Conductances between the lumps: radiation in W/K4, natural convection in W/K^1.25."""

    emitter_centre_w_k4: float
    emitter_edge_w_k4: float
    emitter_around_w_k4: float
    centre_around_w_k4: float
    edge_around_w_k4: float
    chip_around_w_k4: float
    emitter_air_w_k: float
    centre_air_w_k125: float
    edge_air_w_k125: float
    chip_air_w_k125: float
    centre_edge_w_k: float
    centre_chip_w_k: float
    room_loss_w_k: float
    room_k: float


class Lumps(NamedTuple):
    """All coefficients of the lumped bench; capacities as `capacities_j_k` gives them."""

    capacities_j_k: tuple[float, ...]
    flows: Flows


def lumps_of(bench: BenchParameters) -> Lumps:
    """Return the coefficients of a bench."""
    flows = (
        *radiation_w_k4(bench),
        bench.emitter.convection_w_k,
        *natural_convection_w_k(bench),
        conduction_w_k(bench.board),
        contact_w_k(bench),
        bench.surroundings.loss_w_k,
        bench.surroundings.room_c + ZERO_C_K,
    )
    return Lumps(capacities_j_k(bench), Flows._make(flows))


def capacities_j_k(bench: BenchParameters) -> tuple[float, ...]:
    """Return the heat capacities of emitter, centre, edge, surroundings, chip."""
    board_j_k = bench.board.heat_capacity_j_k
    centre_j_k = board_j_k * CENTRE_SHARE
    chip_j_k = bench.chip.heat_capacity_j_m2_k * bench.chip.area_m2
    return (
        bench.emitter.heat_capacity_j_k,
        max(centre_j_k - chip_j_k, centre_j_k * LEAST_CENTRE_SHARE),
        board_j_k - centre_j_k,
        bench.surroundings.heat_capacity_j_k,
        chip_j_k,
    )


def lower_m2(board: BoardParameters) -> tuple[float, ...]:
    """Return the faces that look down; the chip has none."""
    return board.area_m2 * CENTRE_SHARE, board.area_m2 * (1 - CENTRE_SHARE), 0.0


def upper_m2(bench: BenchParameters) -> tuple[float, ...]:
    """Return the faces that look up."""
    centre_m2, edge_m2, _none = lower_m2(bench.board)
    return centre_m2 - bench.chip.area_m2, edge_m2, bench.chip.area_m2


def fan_w_k(bench: BenchParameters) -> tuple[float, ...]:
    """Return what the fan at full speed adds."""
    above, below = upper_m2(bench), lower_m2(bench.board)
    return tuple(
        bench.board.fan_w_m2_k * (up + down) for up, down in zip(above, below, strict=True)
    )


def radiation_w_k4(bench: BenchParameters) -> tuple[float, ...]:
    """Return emitter to centre, edge, surroundings; then what centre, edge and chip lose.

    Once-reflected heat is counted as lost to the surroundings: near-black faces reflect little.
    """
    board, emitter = bench.board, bench.emitter
    above, below = upper_m2(bench), lower_m2(board)
    scale = CENTRE_SHARE**0.5
    middle = (board.length_mm * scale, board.width_mm * scale)
    seen_by_all = coaxial_view_factor(board.size_mm, emitter.size_mm, emitter.gap_mm)
    seen_by_centre = coaxial_view_factor(middle, emitter.size_mm, emitter.gap_mm)
    grey = board.emissivity * emitter.emissivity
    to_centre = below[0] * seen_by_centre * grey
    to_edge = (board.area_m2 * seen_by_all - below[0] * seen_by_centre) * grey
    bank = emitter.length_mm * emitter.width_mm * 1e-6 * emitter.emissivity
    exchange_m2 = (
        to_centre,
        to_edge,
        bank - to_centre - to_edge,
        (above[0] + below[0]) * board.emissivity - to_centre,
        (above[1] + below[1]) * board.emissivity - to_edge,
        above[2] * bench.chip.emissivity,
    )
    return tuple(SIGMA_W_M2_K4 * area for area in exchange_m2)


def natural_convection_w_k(bench: BenchParameters) -> tuple[float, ...]:
    """Return W per K^1.25, faces up and down together; the chip stands in the board's own plume."""
    board = bench.board
    length_m = board.area_m2 / (2e-3 * (board.length_mm + board.width_mm))
    up, down = (board.convection * c / length_m**0.25 for c in (PLATE_UP_W_M2_K, PLATE_DOWN_W_M2_K))
    centre, edge, chip = (
        up * above + down * below
        for above, below in zip(upper_m2(bench), lower_m2(board), strict=True)
    )
    return centre, board.edge_convection * edge, chip


def conduction_w_k(board: BoardParameters) -> float:
    """Return the conductance from centre to edge: border between them over mean distance."""
    border_mm = 2 * (board.length_mm + board.width_mm) * CENTRE_SHARE**0.5
    distance_mm = min(board.length_mm, board.width_mm) / 4
    return board.sheet_w_k * border_mm / distance_mm


def contact_w_k(bench: BenchParameters) -> float:
    """Return the conductance from centre to chip, through the balls and the board beneath them."""
    return bench.chip.contact_w_m2_k * bench.chip.area_m2
