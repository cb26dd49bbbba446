"""Heat in a bench with a gridded board, as the simulated heater asks for it (bench_plant).

Takes the power of each zone, fan, hot air and draught of a tick. A bead may sit at a place of the
lumped bench or on any spot of the board (SensorPlacement.at_mm). A board must carry a part called
`chip`: hot air is held over it, or strays from it along x. Where a lumped bench has a board centre,
a grid has the spot of the control sensor.
"""

from collections.abc import Sequence
from typing import Any

from emberbed_sim.plant.bench_plant import Felt
from emberbed_sim.plant.grid_emitters import zone_shares
from emberbed_sim.plant.grid_from_bench import CONTROL_PLACE, grid_bench
from emberbed_sim.plant.grid_parameters import GridBench, Place
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.nozzle import STILL, Jet
from emberbed_sim.plant.parameters import ZERO_C_K, BenchParameters, SensorPlacement
from emberbed_sim.plant.thermocouple import Pull

CHIP = "chip"
# Rise of what is above the board as a share of the housing's, when a board has just come off: a
# simulated run to 135 degC with hot air leaves 28.7 degC above it and 49.8 degC in the housing.
ABOVE_SHARE = 0.2


class GridThermal:
    """One bench on a grid; `plant` is it, for maps and books."""

    def __init__(self, bench: GridBench) -> None:
        chips = [part for part in bench.board.parts if part.name == CHIP]
        if not chips:
            raise ValueError(
                f"The board has no part called '{CHIP}'; give it one, as grid_parameters.chip_part "
                "makes it."
            )
        self.bench = bench
        self.plant = GridPlant(bench)
        self.room_k = bench.surroundings.room_c + ZERO_C_K
        self.energy_carried_j = 0.0
        shares = zone_shares(bench.emitters).sum(axis=0)  # less than 1 where an emitter is weak
        self.zone_full_w = tuple((shares * self.plant.rated_w).tolist())
        self._as_rated = [1 / share if share else 0.0 for share in shares.tolist()]
        self._chip_mm = self._aimed_mm = chips[0].x_mm, chips[0].y_mm
        self.plant.aim_jet(*self._aimed_mm)
        known = self.plant.places
        beside = CONTROL_PLACE if CONTROL_PLACE in known else f"near_{CHIP}"
        self.seats = {
            "board_centre": beside,
            "board_edge": "board_edge",
            "emitter": "emitter",
            "chip_top": f"{CHIP}_top",
        }

    @classmethod
    def of(cls, bench: BenchParameters, strengths: Sequence[float] = (1.0,)) -> "GridThermal":
        """Return the heat in a lumped bench whose board is seen in two dimensions.

        `strengths` as grid_from_bench has them.
        """
        return cls(grid_bench(bench, strengths))

    @property
    def emitter_k(self) -> float:
        """Return the hottest emitter's body."""
        first = self.plant.layout.sources.start
        return float(self.plant.state[0, first : first + self.plant.layout.emitters].max())

    @property
    def centre_k(self) -> float:
        """Return the board where a sensor at `board_centre` sits."""
        return self._place_k("board_centre")

    @property
    def edge_k(self) -> float:
        return self._place_k("board_edge")

    @property
    def chip_k(self) -> float:
        return self._place_k("chip_top")

    @property
    def surroundings_k(self) -> float:
        """Return the housing below the board."""
        return self.plant.surroundings_k

    @property
    def energy_in_j(self) -> float:
        return self.plant.energy_in_j

    @property
    def energy_from_air_j(self) -> float:
        return self.plant.energy_from_jet_j

    @property
    def energy_to_room_j(self) -> float:
        return self.plant.energy_to_room_j

    def stored_j(self) -> float:
        """Return the heat stored above the room temperature."""
        return self.plant.stored_j()

    def step(
        self, zone_w: Sequence[float], fan: float, jet: Jet = STILL, draught_w_m2_k: float = 0.0
    ) -> None:
        """Advance one tick with this mean power of each zone (W), fan 0..1, hot air, and mean h of
        a draught over the upper face (W/m2K)."""
        rated_w = [power * factor for power, factor in zip(zone_w, self._as_rated, strict=True)]
        draught = draught_w_m2_k / self.bench.draught.mean_w_m2_k
        if jet is STILL:
            self.plant.step(rated_w, fan, draught=draught)
            return
        self._aim(jet)
        self.plant.step(rated_w, fan, 1.0, jet.air_k - ZERO_C_K, draught)

    def place_c(self, placed: SensorPlacement) -> float:
        """Return the temperature of the place where a bead sits."""
        return self.plant.place_k(self._seat(placed)) - ZERO_C_K

    def felt(self, placed: SensorPlacement) -> Felt:
        """Return what a bead meets where it sits."""
        seat = self._seat(placed)
        plant: Any = self.plant
        return Felt(
            plant.place_k(seat) - ZERO_C_K,
            plant.air_k(seat) - ZERO_C_K,
            plant.net_ir_kw_m2(seat),
        )

    def check_spot(self, x_mm: float, y_mm: float) -> None:
        """Refuse a spot beside the board."""
        x_low, x_high, y_low, y_high = self.bench.board.extent_mm
        if not (x_low <= x_mm <= x_high and y_low <= y_mm <= y_high):
            raise ValueError(
                f"x {x_mm:g}, y {y_mm:g} mm is beside the board; give a spot up to"
                f" {x_high:g} and {y_high:g} mm from its middle."
            )

    def air_pulls(self, placed: SensorPlacement, jet: Jet) -> list[Pull]:
        """Return what hot air does to a bead beyond warming its place.

        The larger of the placement's two shares is what the bead gives way right under the nozzle;
        elsewhere it is less as h is, and the air there is what is left of the jet's.
        """
        seat = self._seat(placed)
        most = max(placed.air_on_chip, placed.air_beside)
        share = most * self.plant.jet_strength(seat)
        return [Pull(self.plant.air_k(seat) - ZERO_C_K, share)] if share else []

    def put_board(self) -> None:
        """Put a board at room temperature, with its parts, in place of the one there."""
        before_j = self.stored_j()
        self.plant.set_board_c(self.room_k - ZERO_C_K)
        self.energy_carried_j += self.stored_j() - before_j

    def put_chip(self) -> None:
        """Put a chip at room temperature in place of the one there."""
        before_j = self.stored_j()
        self.plant.set_part_c(CHIP, self.room_k - ZERO_C_K)
        self.energy_carried_j += self.stored_j() - before_j

    def heat_through(self, emitter_k: float, around_k: float) -> None:
        """Leave emitters and housing this hot and what is above in proportion."""
        before_j = self.stored_j()
        above_k = self.room_k + ABOVE_SHARE * (around_k - self.room_k)
        self.plant.set_around_c(emitter_k - ZERO_C_K, around_k - ZERO_C_K, above_k - ZERO_C_K)
        self.energy_carried_j += self.stored_j() - before_j

    def _seat(self, placed: SensorPlacement) -> str:
        """Return the plant's place that a bead sits at; a spot becomes one when first used."""
        if placed.at_mm is None:
            return self.seats[placed.where]
        x_mm, y_mm = placed.at_mm
        name = f"at {x_mm:g}, {y_mm:g} mm"
        if name not in self.plant.places:
            self.plant.add_place(Place(name, x_mm, y_mm))
        return name

    def _place_k(self, where: str) -> float:
        return self.plant.place_k(self.seats[where])

    def _aim(self, jet: Jet) -> None:
        spot_mm = self._chip_mm[0] + jet.at_mm, self._chip_mm[1]
        if spot_mm != self._aimed_mm:
            self._aimed_mm = spot_mm
            self.plant.aim_jet(*spot_mm)
