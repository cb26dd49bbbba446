"""An identified heater as the heat in a simulated bench: exactly the equations that were fitted.

`IdentifiedHeat` steps a HeatModel where the bench would step its own network, so that converters,
switches and firmware are the usual ones around it. The board is one lump: middle, rim and chip are
the same. Only what heats from below is known of it: hot air, fan and draught are refused.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from emberbed.heater.heat_model import Heater, HeatModel, Warmth, at_rest
from emberbed.heater.model_parameters import ZERO_C_K

if TYPE_CHECKING:  # the simulation: only when gains are tried
    from emberbed_sim.plant.bench_plant import Felt
    from emberbed_sim.plant.nozzle import Jet
    from emberbed_sim.plant.parameters import SensorPlacement
    from emberbed_sim.plant.thermocouple import Pull


class IdentifiedHeat:
    """Emitter, board and surroundings of one heater, starting at rest; a BenchPlant."""

    def __init__(self, heater: Heater, step_s: float) -> None:
        from emberbed_sim.plant.bench_plant import Felt

        self._heater = Heater(*(float(number) for number in heater))
        self._model = HeatModel(self._heater, at_rest(self._heater), step_s)
        self._step_s = step_s
        self._felt = Felt
        self.energy_in_j = 0.0
        self.energy_to_room_j = 0.0
        self.energy_carried_j = 0.0
        self.energy_from_air_j = 0.0

    @property
    def zone_full_w(self) -> tuple[float]:
        return (float(self._heater.full_power_w),)

    @property
    def room_k(self) -> float:
        return float(self._heater.room_k)

    @property
    def emitter_k(self) -> float:
        return float(self._model.warmth.emitter_k)

    @property
    def centre_k(self) -> float:
        return float(self._model.warmth.board_k)

    @property
    def edge_k(self) -> float:
        return self.centre_k

    @property
    def chip_k(self) -> float:
        return self.centre_k

    @property
    def surroundings_k(self) -> float:
        return float(self._model.warmth.surroundings_k)

    def stored_j(self) -> float:
        """Return the heat beyond everything being at room temperature."""
        heater, warmth = self._heater, self._model.warmth
        parts = zip(
            (heater.emitter_j_k, heater.board_j_k, heater.surroundings_j_k), warmth, strict=False
        )
        return sum(float(j_k) * (float(kelvin) - self.room_k) for j_k, kelvin in parts)

    def step(
        self, zone_w: "Sequence[float]", fan: float, jet: "Jet", draught_w_m2_k: float
    ) -> None:
        """Advance one tick with the mean power of the one zone."""
        (power_w,) = zone_w
        if fan or draught_w_m2_k or jet.centre_w_k or jet.chip_w_k:
            raise ValueError("a heater file knows no fan, draught or hot air: leave them out")
        before_j = self.stored_j()
        self._model.step(power_w)
        self.energy_in_j += power_w * self._step_s
        self.energy_to_room_j += power_w * self._step_s - (self.stored_j() - before_j)

    def place_c(self, placed: "SensorPlacement") -> float:
        """Return the temperature of the emitter, or of the one board's face that the fit knows."""
        face_k = float(self._model.warmth.face_k)
        return (self.emitter_k if placed.where == "emitter" else face_k) - ZERO_C_K

    def felt(self, placed: "SensorPlacement") -> "Felt":
        """Return what a bead meets: the board, or the emitter; its net radiation is in the fit."""
        return self._felt(self.place_c(placed), self.surroundings_k - ZERO_C_K, 0.0)

    def check_spot(self, x_mm: float, y_mm: float) -> None:
        raise ValueError("a heater file knows no spots on the board: use the grid")

    def air_pulls(self, placed: "SensorPlacement", jet: "Jet") -> "Sequence[Pull]":
        return ()

    def put_board(self) -> None:
        """Put a board at room temperature in place of the one there."""
        self._carry(self._model.warmth.with_board(self.room_k))

    def put_chip(self) -> None:
        """Nothing changes: a chip is a part of the board's one lump."""

    def heat_through(self, emitter_k: float, around_k: float) -> None:
        """Leave emitter and surroundings this hot."""
        self._carry(self._model.warmth._replace(emitter_k=emitter_k, surroundings_k=around_k))

    def _carry(self, warmth: Warmth) -> None:
        before_j = self.stored_j()
        self._model.warmth = warmth
        self.energy_carried_j += self.stored_j() - before_j
