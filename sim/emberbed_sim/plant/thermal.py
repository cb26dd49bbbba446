"""Heat in the bench: emitter, board centre, board edge, surroundings and a chip as five lumps.

One step of TICK_S takes the mean electric power of its one zone (W), the fan (0..1), hot air from
above and a draught, and moves the five temperatures (K) by Heun's rule: at 0.1 s its end point is
within 2e-5 K of a fine solver, and a half-cycle of the mains needs no step of its own. Through its
thickness the board is one lump (Biot number about 0.05). All energy is booked with the same rule,
so that stored + to the room = electric + from hot air + carried by hand.
"""

from collections.abc import Sequence
from math import sqrt

from emberbed_sim.plant import couplings
from emberbed_sim.plant.bench_plant import Felt
from emberbed_sim.plant.couplings import SIGMA_W_M2_K4, Lumps
from emberbed_sim.plant.nozzle import STILL, Jet
from emberbed_sim.plant.parameters import TICK_S, ZERO_C_K, BenchParameters, SensorPlacement
from emberbed_sim.plant.thermocouple import Pull

__all__ = ["SIGMA_W_M2_K4", "ZERO_C_K", "ThermalNetwork"]

LUMPS = ("emitter_k", "centre_k", "edge_k", "surroundings_k", "chip_k")
LUMP_OF_PLACE = {
    "board_centre": "centre_k",
    "board_edge": "edge_k",
    "emitter": "emitter_k",
    "chip_top": "chip_k",
}
ALL_STILL = (0.0,) * 6


class ThermalNetwork:
    """Temperatures in kelvin as attributes; `step` moves them on by one tick.

    `lumps` are coefficients that were measured, in place of those that follow from the bench.
    """

    def __init__(self, bench: BenchParameters, lumps: Lumps | None = None) -> None:
        self._capacities, self._couplings = lumps or couplings.lumps_of(bench)
        self.zone_full_w = (bench.emitter.watts,)
        self.room_k = self._couplings.room_k
        self.emitter_k = self.centre_k = self.edge_k = self.surroundings_k = self.room_k
        self.chip_k = self.room_k
        self.energy_in_j = 0.0
        self.energy_to_room_j = 0.0
        self.energy_from_air_j = 0.0
        self.energy_carried_j = 0.0
        self._fan_w_k = couplings.fan_w_k(bench)
        self._upper_m2 = couplings.upper_m2(bench)

    def stored_j(self) -> float:
        """Return the heat stored above the room temperature, in J."""
        return sum(
            capacity * (getattr(self, lump) - self.room_k)
            for capacity, lump in zip(self._capacities, LUMPS, strict=True)
        )

    def carry(self, **lumps_k: float) -> None:
        """Put lumps (of LUMPS, in K) there by hand; the heat that comes or goes is booked."""
        before_j = self.stored_j()
        for lump, kelvin in lumps_k.items():
            assert lump in LUMPS
            setattr(self, lump, kelvin)
        self.energy_carried_j += self.stored_j() - before_j

    def step(
        self, zone_w: Sequence[float], fan: float, jet: Jet = STILL, draught_w_m2_k: float = 0.0
    ) -> None:
        """Advance one tick with the mean power of the one zone (W), fan (0 off .. 1 on), hot air
        and draught over the upper faces (W/m2K)."""
        (power_w,) = zone_w
        emitter_j_k, centre_j_k, edge_j_k, around_j_k, chip_j_k = self._capacities
        emitter, centre, edge = self.emitter_k, self.centre_k, self.edge_k
        around, chip = self.surroundings_k, self.chip_k
        blown = ALL_STILL
        if fan or draught_w_m2_k or jet is not STILL:
            blown = self._blown(fan, jet, draught_w_m2_k)
        gain1, centre1, edge1, around1, chip1, room1, air1 = self._flows_w(
            emitter, centre, edge, around, chip, blown
        )
        gain2, centre2, edge2, around2, chip2, room2, air2 = self._flows_w(
            emitter + (gain1 + power_w) * TICK_S / emitter_j_k,
            centre + centre1 * TICK_S / centre_j_k,
            edge + edge1 * TICK_S / edge_j_k,
            around + around1 * TICK_S / around_j_k,
            chip + chip1 * TICK_S / chip_j_k,
            blown,
        )
        half = TICK_S / 2
        self.emitter_k = emitter + (gain1 + gain2 + 2 * power_w) * half / emitter_j_k
        self.centre_k = centre + (centre1 + centre2) * half / centre_j_k
        self.edge_k = edge + (edge1 + edge2) * half / edge_j_k
        self.surroundings_k = around + (around1 + around2) * half / around_j_k
        self.chip_k = chip + (chip1 + chip2) * half / chip_j_k
        self.energy_in_j += power_w * TICK_S
        self.energy_to_room_j += (room1 + room2) * half
        self.energy_from_air_j += (air1 + air2) * half

    def place_c(self, placed: SensorPlacement) -> float:
        """Return the temperature of the place where a bead sits."""
        return getattr(self, LUMP_OF_PLACE[placed.where]) - ZERO_C_K

    def felt(self, placed: SensorPlacement) -> Felt:
        """Return what a bead meets where it sits; radiation as if it saw the emitters alone."""
        place_k = getattr(self, LUMP_OF_PLACE[placed.where])
        net_kw_m2 = SIGMA_W_M2_K4 * (self.emitter_k**4 - place_k**4) * 1e-3
        return Felt(place_k - ZERO_C_K, self.surroundings_k - ZERO_C_K, net_kw_m2)

    def check_spot(self, x_mm: float, y_mm: float) -> None:
        """Refuse every spot: a lumped board has none."""
        raise ValueError("A lumped board has no spots; give the bench the grid.")

    def air_pulls(self, placed: SensorPlacement, jet: Jet) -> list[Pull]:
        """Return what hot air does to a bead beyond warming its place."""
        share = placed.air_on_chip * jet.on_chip + placed.air_beside * jet.beside
        return [Pull(jet.air_k - ZERO_C_K, min(share, 1.0))] if share else []

    def put_board(self) -> None:
        """Put a board at room temperature, with its chip, in place of the one there."""
        self.carry(centre_k=self.room_k, edge_k=self.room_k, chip_k=self.room_k)

    def put_chip(self) -> None:
        """Put a chip at room temperature in place of the one there."""
        self.carry(chip_k=self.room_k)

    def heat_through(self, emitter_k: float, around_k: float) -> None:
        """Leave emitters and surroundings this hot; the board stays as it is."""
        self.carry(emitter_k=emitter_k, surroundings_k=around_k)

    def _blown(self, fan: float, jet: Jet, draught_w_m2_k: float) -> tuple[float, ...]:
        """Return W/K that fan and draught add from centre, edge and chip to the surroundings' air,
        then the hot air's temperature in K and its W/K to centre and chip."""
        centre_fan, edge_fan, chip_fan = self._fan_w_k
        centre_m2, edge_m2, chip_m2 = self._upper_m2
        return (
            fan * centre_fan + draught_w_m2_k * centre_m2,
            fan * edge_fan + draught_w_m2_k * edge_m2,
            fan * chip_fan + draught_w_m2_k * chip_m2,
            jet.air_k,
            jet.centre_w_k,
            jet.chip_w_k,
        )

    def _flows_w(
        self,
        emitter: float,
        centre: float,
        edge: float,
        around: float,
        chip: float,
        blown: tuple[float, ...],
    ) -> tuple[float, float, float, float, float, float, float]:
        """Return the net heat into the five lumps, without the electric power; to the room; and
        from hot air, which the lumps' own sums hold already."""
        (
            emitter_centre,
            emitter_edge,
            emitter_around,
            centre_around,
            edge_around,
            chip_around,
            emitter_air,
            centre_air,
            edge_air,
            chip_air,
            conduction,
            contact,
            room_loss,
            room,
        ) = self._couplings
        centre_moved, edge_moved, chip_moved, jet, jet_centre, jet_chip = blown
        emitter4, centre4, chip4 = emitter * emitter, centre * centre, chip * chip
        edge4, around4 = edge * edge, around * around
        emitter4 *= emitter4
        centre4 *= centre4
        edge4 *= edge4
        around4 *= around4
        chip4 *= chip4
        to_centre = emitter_centre * (emitter4 - centre4)
        to_edge = emitter_edge * (emitter4 - edge4)
        lost = emitter_around * (emitter4 - around4) + emitter_air * (emitter - around)
        over = centre - around
        from_centre = (
            centre_around * (centre4 - around4)
            + (centre_air * sqrt(sqrt(abs(over))) + centre_moved) * over
        )
        over = edge - around
        from_edge = (
            edge_around * (edge4 - around4) + (edge_air * sqrt(sqrt(abs(over))) + edge_moved) * over
        )
        over = chip - around
        from_chip = (
            chip_around * (chip4 - around4) + (chip_air * sqrt(sqrt(abs(over))) + chip_moved) * over
        )
        across = conduction * (centre - edge)
        through = contact * (centre - chip)
        onto_centre = jet_centre * (jet - centre)
        onto_chip = jet_chip * (jet - chip)
        to_room = room_loss * (around - room)
        return (
            -to_centre - to_edge - lost,
            to_centre - from_centre - across - through + onto_centre,
            to_edge - from_edge + across,
            lost + from_centre + from_edge + from_chip - to_room,
            through - from_chip + onto_chip,
            to_room,
            onto_centre + onto_chip,
        )
