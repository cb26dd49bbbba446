"""The heater with a board in two dimensions: one plant, or a batch of like ones stepped at once.

`step` takes the electric power of every zone (W), fan, hot air and draught for one tick of TICK_S;
`place_k` tells what a thermocouple touches, `net_ir_kw_m2` and `air_k` what else it feels, `map_c`
gives pictures. With one GridBench numbers are numbers; with a sequence of them they are arrays with
one entry per plant. Benches of a batch may differ in everything but what is counted.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from emberbed_sim.plant.grid_couplings import couplings_of, layout_of, stacked
from emberbed_sim.plant.grid_emitters import zone_watts
from emberbed_sim.plant.grid_equations import Drive, GridEquations
from emberbed_sim.plant.grid_jet import JetField
from emberbed_sim.plant.grid_parameters import GridBench, Place
from emberbed_sim.plant.grid_places import Seat, seat_at, seats_of
from emberbed_sim.plant.parameters import TICK_S, ZERO_C_K
from emberbed_sim.plant.thermal import SIGMA_W_M2_K4

BLOCK = 32  # plants stepped together, so that their arrays stay in the processor's cache
Numbers = float | Sequence[float] | np.ndarray


class GridPlant:
    """Temperatures of a bench or of many; starts at room temperature."""

    def __init__(self, bench: GridBench | Sequence[GridBench]) -> None:
        self.benches = (bench,) if isinstance(bench, GridBench) else tuple(bench)
        self._single = isinstance(bench, GridBench)
        if not self.benches:
            raise ValueError("The batch holds no bench; give at least one.")
        self.layout = layout_of(self.benches[0])
        self.rated_w = zone_watts(self.benches[0].emitters)  # per zone, of the first bench
        self._check_alike()
        couplings = [couplings_of(one) for one in self.benches]
        self._seats = seats_of(self.benches, self.layout)
        self._room_k = np.array([one.surroundings.room_c + ZERO_C_K for one in self.benches])
        self.heat_j_k = np.stack([one.heat_j_k for one in couplings])
        self.state = np.zeros((len(self.benches), self.layout.size))
        self.state[:, : self.layout.nodes] = self._room_k[:, None]
        self.elapsed_ticks = 0
        self._blocks = [
            (slice(at, at + BLOCK), GridEquations(stacked(couplings[at : at + BLOCK]), self.layout))
            for at in range(0, len(couplings), BLOCK)
        ]
        if self._single:
            self._blocks = [(0, GridEquations(couplings[0], self.layout))]
        self._jets = [JetField(one) for one in self.benches]
        self._jet_strength = np.zeros((len(self.benches), self.layout.top.stop))
        self._jet_reach = np.zeros_like(self._jet_strength)
        jets = [one.jet for one in self.benches]
        self.aim_jet([jet.x_mm for jet in jets], [jet.y_mm for jet in jets])
        self._drive = self._driven(np.zeros(self.zones), 0.0, 0.0, 0.0, 0.0)
        self._infrared: np.ndarray | None = None

    @property
    def zones(self) -> int:
        """Return how many zones `step` takes the power of."""
        return len(self.rated_w)

    @property
    def elapsed_s(self) -> float:
        """Return the simulated time in s."""
        return self.elapsed_ticks * TICK_S

    def step(
        self,
        zone_w: Numbers,
        fan: Numbers = 0.0,
        jet: Numbers = 0.0,
        jet_c: Numbers = 0.0,
        draught: Numbers = 0.0,
    ) -> None:
        """Advance one tick: mean power per zone (W), fan, jet and draught 0..1, jet's air in degC.

        Each is one value for all plants, or has one entry (`zone_w`: one row) per plant.
        """
        self._drive = self._driven(zone_w, fan, jet, jet_c, draught)
        for block, equations in self._blocks:
            equations.step(self.state[block], self._share_of(self._drive, block))
        self.elapsed_ticks += 1
        self._infrared = None

    def aim_jet(self, x_mm: Numbers, y_mm: Numbers) -> None:
        """Hold the nozzle over this spot of the board from now on; one for all plants or for each.

        Until then it is where the bench says.
        """
        spots = np.broadcast_arrays(x_mm, y_mm, np.zeros(len(self.benches)))[:2]
        for row, (x, y) in enumerate(zip(*spots, strict=True)):
            self._jet_strength[row], self._jet_reach[row] = self._jets[row].at(x, y)

    def rates(self, state: np.ndarray, zone_w: Numbers, **others: Numbers) -> np.ndarray:
        """Return K/s of the nodes and W of the energies of these states, for other solvers.

        `others` are those of `step`. One plant takes and gives a plain vector.
        """
        held = {"fan": 0.0, "jet": 0.0, "jet_c": 0.0, "draught": 0.0} | others
        drive = self._driven(zone_w, **held)
        states = state.reshape(self.state.shape)
        rates = np.empty_like(states)
        for block, equations in self._blocks:
            rates[block] = equations.rates(states[block], self._share_of(drive, block))
        return rates.reshape(state.shape)

    def set_board_c(self, board_c: float) -> None:
        """Put the whole board with its parts at one temperature."""
        self._set_c(slice(0, self.layout.bottom.stop), board_c)

    def set_part_c(self, name: str, part_c: float) -> None:
        """Put one mounted part at a temperature."""
        row = [part.name for part in self.benches[0].board.parts].index(name)
        self._set_c(row, part_c)

    def set_around_c(self, sources_c: float, housing_c: float, above_c: float) -> None:
        """Put emitters and filaments, the housing, and what is above at a temperature each."""
        housing = self.layout.housing
        for at, celsius in (
            (self.layout.sources, sources_c),
            (housing, housing_c),
            (housing + 1, above_c),
        ):
            self._set_c(at, celsius)

    @property
    def places(self) -> tuple[str, ...]:
        """Return the names that `place_k`, `air_k` and `net_ir_kw_m2` know."""
        return tuple(self._seats)

    def add_place(self, place: Place) -> None:
        """Know one more place, the same spot in all plants."""
        if place.name in self._seats:
            raise ValueError(f"The place '{place.name}' exists already; give yours another name.")
        self._seats[place.name] = seat_at(self.benches, self.layout, place)

    def place_k(self, name: str) -> Any:
        """Return the temperature of a place."""
        seat = self._seats[name]
        return self._out(_weighted(self.state, seat.nodes, seat))

    def air_k(self, name: str) -> Any:
        """Return the temperature of the air at a place, the jet's as far as that reaches."""
        seat, housing = self._seats[name], self.layout.housing
        if seat.side != "top":
            return self._out(self.state[:, housing])
        above_k = self.state[:, housing + 1]
        left = self._drive.jet[..., 0] * _weighted(self._jet_reach, seat.upper, seat)
        return self._out(above_k + left * (self._drive.jet_k[..., 0] - above_k))

    def jet_strength(self, name: str) -> Any:
        """Return the jet's h at a place over that right under the nozzle, 0..1, were it on."""
        seat = self._seats[name]
        if seat.side != "top":
            return self._out(np.zeros(len(self.benches)))
        return self._out(_weighted(self._jet_strength, seat.upper, seat))

    def net_ir_kw_m2(self, name: str) -> Any:
        """Return the net radiation a black bead at a place takes up; none inside an emitter."""
        seat = self._seats[name]
        if seat.side == "inside":
            return self._out(np.zeros(len(self.benches)))
        if seat.side == "top":
            here_k = _weighted(self.state, seat.nodes, seat)
            above_k = self.state[:, self.layout.housing + 1]
            return self._out(SIGMA_W_M2_K4 * 1e-3 * (above_k**4 - here_k**4))
        return self._out(1e-3 * _weighted(self._infrared_w_m2(), seat.cells, seat))

    def map_c(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the board's upper and under temperatures in degC, [y, x] or [plant, y, x]."""
        layout = self.layout
        shape = len(self.benches), layout.rows, layout.columns
        top, bottom = (
            self.state[:, face].reshape(shape) - ZERO_C_K for face in (layout.top, layout.bottom)
        )
        return (top[0], bottom[0]) if self._single else (top, bottom)

    @property
    def emitter_k(self) -> Any:
        """Return the temperature of the first emitter."""
        return self.place_k("emitter")

    @property
    def surroundings_k(self) -> Any:
        """Return the temperature of the housing."""
        return self._out(self.state[:, self.layout.housing])

    @property
    def energy_in_j(self) -> Any:
        """Return the electric energy taken so far."""
        return self._out(self.state[:, self.layout.nodes])

    @property
    def energy_from_jet_j(self) -> Any:
        """Return the heat that hot air gave so far, less what it took."""
        return self._out(self.state[:, self.layout.nodes + 1])

    @property
    def energy_to_room_j(self) -> Any:
        """Return the heat given to the room so far."""
        return self._out(self.state[:, self.layout.nodes + 2])

    def stored_j(self) -> Any:
        """Return the heat stored above room temperature."""
        over_k = self.state[:, : self.layout.nodes] - self._room_k[:, None]
        return self._out((self.heat_j_k * over_k).sum(axis=1))

    def _infrared_w_m2(self) -> np.ndarray:
        """Return the net radiation on the undersides of the cells, once per tick."""
        if self._infrared is None:
            self._infrared = np.empty((len(self.benches), self.layout.cells))
            for block, equations in self._blocks:
                self._infrared[block] = equations.infrared_w_m2(self.state[block])
        return self._infrared

    def _driven(
        self, zone_w: Numbers, fan: Numbers, jet: Numbers, jet_c: Numbers, draught: Numbers
    ) -> Drive:
        """Return the drive as arrays, with one row per plant where plants differ."""
        power_w = np.atleast_1d(np.asarray(zone_w, dtype=float))
        if power_w.shape[-1] != self.zones:
            raise ValueError(
                f"The power is given for {power_w.shape[-1]} zones; this bench has {self.zones}."
            )
        shares = (np.asarray(one, dtype=float)[..., None] for one in (fan, jet, jet_c, draught))
        fan_on, jet_on, nozzle_c, draught_on = shares
        falls = self._jet_strength, self._jet_reach
        strength, reach = (fall[0] for fall in falls) if self._single else falls
        return Drive(power_w, fan_on, jet_on, nozzle_c + ZERO_C_K, strength, reach, draught_on)

    def _set_c(self, nodes: slice | int, celsius: float) -> None:
        self.state[:, nodes] = celsius + ZERO_C_K
        self._infrared = None

    def _share_of(self, drive: Drive, block: slice | int) -> Drive:
        """Return the rows of a block of plants."""
        if self._single:
            return drive
        return Drive(*(part[block] if part.ndim > 1 else part for part in drive))

    def _check_alike(self) -> None:
        for bench in self.benches:
            if layout_of(bench) != self.layout or len(zone_watts(bench.emitters)) != self.zones:
                raise ValueError(
                    "The benches of a batch differ in cells, emitters, zones or mounted parts; "
                    "step them apart."
                )

    def _out(self, values: np.ndarray) -> Any:
        """Return one plant's number, or the batch's array."""
        return float(values[0]) if self._single else values


def _weighted(values: np.ndarray, at: np.ndarray, seat: Seat) -> np.ndarray:
    """Return the mean of the four corners of a seat, one per plant."""
    return np.matmul(values.take(at)[:, None, :], seat.weights)[:, 0, 0]
