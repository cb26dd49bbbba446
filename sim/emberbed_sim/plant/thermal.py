"""Heat in the bench: emitter, board centre, board edge and surroundings as four lumps.

One step of TICK_S takes the mean electric power (W) and the fan (0..1) and moves the four
temperatures (K) by Heun's rule: at 0.1 s its end point is within 2e-5 K of a fine solver, and a
half-cycle of the mains needs no step of its own. Through its thickness the board is one lump (Biot
number about 0.05). Energy in, and out to the room, is booked with the same rule, so the sum closes.
"""

from math import sqrt

from emberbed_sim.plant.parameters import TICK_S, BenchParameters
from emberbed_sim.plant.view_factors import coaxial_view_factor

SIGMA_W_M2_K4 = 5.670374419e-8  # exact from the SI's h, c, k
ZERO_C_K = 273.15
CENTRE_SHARE = 0.5  # of the board's area; the rest is its edge
# Natural convection of a horizontal plate, hot face up plus face down, h = c (dT / L)^1/4 with
# L = area / perimeter: the 0.54 and 0.27 Ra^1/4 correlations with air at 60-110 degC put in.
PLATE_W_M2_K = 1.32 + 0.66


class ThermalNetwork:
    """Temperatures in kelvin as attributes; `step` moves them on by one tick."""

    def __init__(self, bench: BenchParameters) -> None:
        board, emitter, around = bench.board, bench.emitter, bench.surroundings
        self.room_k = around.room_c + ZERO_C_K
        self.emitter_k = self.centre_k = self.edge_k = self.surroundings_k = self.room_k
        self.energy_in_j = 0.0
        self.energy_to_room_j = 0.0
        self._capacities = (
            emitter.heat_capacity_j_k,
            board.heat_capacity_j_k * CENTRE_SHARE,
            board.heat_capacity_j_k * (1 - CENTRE_SHARE),
            around.heat_capacity_j_k,
        )
        areas = (board.area_m2 * CENTRE_SHARE, board.area_m2 * (1 - CENTRE_SHARE))
        self._fan_w_k = tuple(2 * board.fan_w_m2_k * area for area in areas)
        self._couplings = (
            *_radiation(bench, areas),
            emitter.convection_w_k,
            *_natural_convection(bench, areas),
            _conduction_w_k(bench),
            around.loss_w_k,
            self.room_k,
        )

    def stored_j(self) -> float:
        """Return the heat stored above the room temperature, in J."""
        temperatures = (self.emitter_k, self.centre_k, self.edge_k, self.surroundings_k)
        return sum(
            capacity * (temperature - self.room_k)
            for capacity, temperature in zip(self._capacities, temperatures, strict=True)
        )

    def step(self, power_w: float, fan: float) -> None:
        """Advance one tick with this mean emitter power (W) and fan (0 off .. 1 on)."""
        emitter_j_k, centre_j_k, edge_j_k, around_j_k = self._capacities
        emitter, centre, edge, around = (
            self.emitter_k,
            self.centre_k,
            self.edge_k,
            self.surroundings_k,
        )
        gain1, centre1, edge1, around1, room1 = self._flows_w(emitter, centre, edge, around, fan)
        gain2, centre2, edge2, around2, room2 = self._flows_w(
            emitter + (gain1 + power_w) * TICK_S / emitter_j_k,
            centre + centre1 * TICK_S / centre_j_k,
            edge + edge1 * TICK_S / edge_j_k,
            around + around1 * TICK_S / around_j_k,
            fan,
        )
        half = TICK_S / 2
        self.emitter_k = emitter + (gain1 + gain2 + 2 * power_w) * half / emitter_j_k
        self.centre_k = centre + (centre1 + centre2) * half / centre_j_k
        self.edge_k = edge + (edge1 + edge2) * half / edge_j_k
        self.surroundings_k = around + (around1 + around2) * half / around_j_k
        self.energy_in_j += power_w * TICK_S
        self.energy_to_room_j += (room1 + room2) * half

    def _flows_w(
        self, emitter: float, centre: float, edge: float, around: float, fan: float
    ) -> tuple[float, float, float, float, float]:
        """Return the net heat into the four lumps, without the electric power, and to the room."""
        (
            emitter_centre,
            emitter_edge,
            emitter_around,
            centre_around,
            edge_around,
            emitter_air,
            centre_air,
            edge_air,
            conduction,
            room_loss,
            room,
        ) = self._couplings
        centre_fan, edge_fan = self._fan_w_k
        emitter4, centre4 = emitter * emitter, centre * centre
        edge4, around4 = edge * edge, around * around
        emitter4 *= emitter4
        centre4 *= centre4
        edge4 *= edge4
        around4 *= around4
        to_centre = emitter_centre * (emitter4 - centre4)
        to_edge = emitter_edge * (emitter4 - edge4)
        lost = emitter_around * (emitter4 - around4) + emitter_air * (emitter - around)
        over = centre - around
        from_centre = (
            centre_around * (centre4 - around4)
            + (centre_air * sqrt(sqrt(abs(over))) + fan * centre_fan) * over
        )
        over = edge - around
        from_edge = (
            edge_around * (edge4 - around4)
            + (edge_air * sqrt(sqrt(abs(over))) + fan * edge_fan) * over
        )
        across = conduction * (centre - edge)
        to_room = room_loss * (around - room)
        return (
            -to_centre - to_edge - lost,
            to_centre - from_centre - across,
            to_edge - from_edge + across,
            lost + from_centre + from_edge - to_room,
            to_room,
        )


def _radiation(bench: BenchParameters, areas: tuple[float, float]) -> tuple[float, ...]:
    """Return sigma times the exchange areas: emitter to centre, edge, surroundings; their losses.

    Once-reflected heat is counted as lost to the surroundings: near-black faces reflect little.
    """
    board, emitter = bench.board, bench.emitter
    scale = CENTRE_SHARE**0.5
    middle = (board.length_mm * scale, board.width_mm * scale)
    seen_by_all = coaxial_view_factor(board.size_mm, emitter.size_mm, emitter.gap_mm)
    seen_by_centre = coaxial_view_factor(middle, emitter.size_mm, emitter.gap_mm)
    grey = board.emissivity * emitter.emissivity
    to_centre = areas[0] * seen_by_centre * grey
    to_edge = (board.area_m2 * seen_by_all - areas[0] * seen_by_centre) * grey
    bank = emitter.length_mm * emitter.width_mm * 1e-6 * emitter.emissivity
    exchange_m2 = (
        to_centre,
        to_edge,
        bank - to_centre - to_edge,
        2 * areas[0] * board.emissivity - to_centre,
        2 * areas[1] * board.emissivity - to_edge,
    )
    return tuple(SIGMA_W_M2_K4 * area for area in exchange_m2)


def _natural_convection(bench: BenchParameters, areas: tuple[float, float]) -> tuple[float, float]:
    """Return W per K^1.25 of centre and edge, both faces together."""
    board = bench.board
    length_m = board.area_m2 / (2e-3 * (board.length_mm + board.width_mm))
    each_m2 = board.convection * PLATE_W_M2_K / length_m**0.25
    return each_m2 * areas[0], each_m2 * board.edge_convection * areas[1]


def _conduction_w_k(bench: BenchParameters) -> float:
    """Return the conductance from centre to edge: border between them over mean distance."""
    board = bench.board
    border_mm = 2 * (board.length_mm + board.width_mm) * CENTRE_SHARE**0.5
    distance_mm = min(board.length_mm, board.width_mm) / 4
    return board.sheet_w_k * border_mm / distance_mm
