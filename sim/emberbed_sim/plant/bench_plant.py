"""What the simulated heater asks of the heat in its bench, lumped or gridded.

Powers in W, temperatures in K where a name ends so and in degC otherwise, energies in J since the
start. All energy is booked: stored + to the room = electric + from hot air + carried by hand.
"""

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from emberbed_sim.plant.nozzle import Jet
from emberbed_sim.plant.parameters import SensorPlacement
from emberbed_sim.plant.thermocouple import Pull


class Felt(NamedTuple):
    """What a thermocouple meets at its place."""

    place_c: float
    air_c: float
    net_kw_m2: float  # radiation that a black bead there takes up beyond what it sends out


class BenchPlant(Protocol):
    """Emitters, board, chip and surroundings; places are those of parameters.PLACES."""

    @property
    def zone_full_w(self) -> Sequence[float]:
        """Return what each zone's emitters take together at nominal mains voltage."""
        ...

    @property
    def room_k(self) -> float: ...
    @property
    def emitter_k(self) -> float: ...
    @property
    def centre_k(self) -> float:
        """Return the board where a sensor at `board_centre` sits."""
        ...

    @property
    def edge_k(self) -> float: ...
    @property
    def chip_k(self) -> float: ...
    @property
    def surroundings_k(self) -> float: ...
    @property
    def energy_in_j(self) -> float: ...
    @property
    def energy_from_air_j(self) -> float: ...
    @property
    def energy_to_room_j(self) -> float: ...
    @property
    def energy_carried_j(self) -> float: ...
    def stored_j(self) -> float: ...

    def step(self, zone_w: Sequence[float], fan: float, jet: Jet, draught_w_m2_k: float) -> None:
        """Advance one tick with this mean power of each zone, fan 0..1, hot air, draught."""
        ...

    def place_c(self, placed: SensorPlacement) -> float:
        """Return the temperature of the place where a bead sits."""
        ...

    def felt(self, placed: SensorPlacement) -> Felt:
        """Return what a bead meets where it sits."""
        ...

    def check_spot(self, x_mm: float, y_mm: float) -> None:
        """Refuse (ValueError) a spot from the board's middle where no bead can sit."""
        ...

    def air_pulls(self, placed: SensorPlacement, jet: Jet) -> Sequence[Pull]:
        """Return what hot air does to a bead beyond warming its place."""
        ...

    def put_board(self) -> None:
        """Put a board at room temperature, with its chip, in place of the one there."""
        ...

    def put_chip(self) -> None:
        """Put a chip at room temperature in place of the one there."""
        ...

    def heat_through(self, emitter_k: float, around_k: float) -> None:
        """Leave emitters and surroundings this hot; the board stays as it is."""
        ...
