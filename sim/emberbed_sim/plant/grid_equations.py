"""The grid plant's differential equations, written once for one plant or a batch of them.

Takes state vectors (layout in grid_couplings) and what drives them, gives rates or the state one
tick later by Heun's rule. Arrays work on their last axis; a leading axis, where there is one, runs
over plants. All work is done in arrays made once: an instance serves one caller at a time.
Every exchange is booked on both its sides, so energy is lost only to rounding.
"""

from typing import NamedTuple

import numpy as np

from emberbed_sim.plant.grid_couplings import Couplings, Layout
from emberbed_sim.plant.parameters import TICK_S


class Drive(NamedTuple):
    """What acts in a tick; last axis as stated, a leading axis where plants differ."""

    zone_w: np.ndarray  # zone: electric power
    fan: np.ndarray  # 1: 0..1
    jet: np.ndarray  # 1: 0..1
    jet_k: np.ndarray  # 1: temperature of its air at the nozzle
    jet_strength: np.ndarray  # parts and top: h over that right under the nozzle, 0..1
    jet_reach: np.ndarray  # parts and top: how much of its air is left there, 0..1
    draught: np.ndarray  # 1: 0..1


class Held(NamedTuple):
    """What stays the same through a tick, worked out once."""

    linear_w_k: np.ndarray  # faces: conductance to the air
    source_w: np.ndarray  # emitters and filaments: electric power
    electric_w: np.ndarray  # 1
    blows: bool  # any jet
    draws: bool  # any draught


class GridEquations:
    """Rates of change, and the step."""

    def __init__(self, couplings: Couplings, layout: Layout) -> None:
        self.couplings, self.layout = couplings, layout
        batch = couplings.heat_j_k.shape[:-1]
        faces, upper = layout.housing, layout.top.stop
        self._state = np.empty((*batch, layout.size))
        self._rate = np.zeros_like(self._state)
        self._first = np.empty_like(self._state)
        self._divide = np.ones_like(self._state)
        self._divide[..., : layout.nodes] = 1 / couplings.heat_j_k

        state, rate = self._state, self._rate
        self._nodes = state[..., : layout.nodes]
        self._upper, self._lower = state[..., :upper], state[..., upper:faces]
        self._air = state[..., faces : faces + 2]  # housing, above
        self._housing, self._above = self._air[..., :1], self._air[..., 1:]
        self._fourth = np.empty((*batch, layout.nodes))
        self._bottom_fourth = self._fourth[..., layout.bottom]
        self._over, self._over_fourth, self._size, self._root, self._loss = (
            np.empty((*batch, faces)) for _ in range(5)
        )
        self._film = np.empty((*batch, 2))
        self._rate_faces, self._rate_air = rate[..., :faces], rate[..., faces : faces + 2]
        self._rate_upper, self._rate_top = rate[..., :upper], rate[..., layout.top]
        self._rate_bottom = rate[..., layout.bottom]
        self._rate_sources = rate[..., layout.sources]
        self._booked = rate[..., layout.nodes :]  # electric, jet, room
        self._pairs = [
            self._pair(1, couplings.along_w_k),
            self._pair(layout.columns, couplings.across_w_k),
            self._pair(layout.cells, couplings.through_w_k),
        ]
        self._set_up_contact()
        self._set_up_below()
        self._sums = np.empty((*batch, 1))
        self._half_film_per_k = couplings.film_per_k / 2
        self._natural_mean = (couplings.natural_up + couplings.natural_down) / 2
        self._natural_lean = (couplings.natural_up - couplings.natural_down) / 2

    def __reduce__(self) -> tuple[object, ...]:
        """Rebuild rather than copy: many of the arrays are views of each other."""
        return GridEquations, (self.couplings, self.layout)

    def __deepcopy__(self, _memo: object) -> "GridEquations":
        """Copies share it: nothing is kept from one call to the next."""
        return self

    def step(self, state: np.ndarray, drive: Drive) -> None:
        """Move these states on by one tick, in place."""
        work, rate, first = self._state, self._rate, self._first
        held = self._held(drive)
        work[...] = state
        self._fill_rates(drive, held)
        np.multiply(rate, TICK_S, out=first)
        work += first
        self._fill_rates(drive, held)
        rate *= TICK_S
        first += rate
        first *= 0.5
        state += first

    def rates(self, state: np.ndarray, drive: Drive) -> np.ndarray:
        """Return K/s of all nodes and W of the three energies, for any solver."""
        self._state[...] = state
        self._fill_rates(drive, self._held(drive))
        return self._rate.copy()

    def infrared_w_m2(self, state: np.ndarray) -> np.ndarray:
        """Return the net radiation that a black spot of each cell's underside would take up."""
        self._state[...] = state
        self._fill_fourth_powers()
        self._exchange_below()
        to_housing = self.couplings.direct_w_k4 * self._over_fourth
        net_w = self._arriving - to_housing[..., self.layout.bottom]
        black_m2 = self.couplings.infrared_m2
        return np.divide(net_w, black_m2, out=np.zeros_like(net_w), where=black_m2 > 0)

    def _pair(self, step: int, conductance: np.ndarray) -> tuple[np.ndarray, ...]:
        """Return the views for flows between cell i and cell i + step of both layers."""
        begin, end = self.layout.top.start, self.layout.bottom.stop
        low, high = slice(begin, end - step), slice(begin + step, end)
        state, rate = self._state, self._rate
        return (
            state[..., low],
            state[..., high],
            rate[..., low],
            rate[..., high],
            conductance,
            np.empty_like(state[..., low]),
        )

    def _set_up_contact(self) -> None:
        layout, contact = self.layout, self.couplings.contact_w_k
        self._part_contact_w_k = contact.sum(axis=-1)
        self._cell_contact_w_k = contact.sum(axis=-2)
        self._cell_contact = np.ascontiguousarray(np.swapaxes(contact, -1, -2))
        self._parts = self._state[..., : layout.parts]
        self._top = self._state[..., layout.top]
        self._rate_parts = self._rate[..., : layout.parts]
        self._to_parts, self._to_top = np.empty_like(self._parts), np.empty_like(self._top)

    def _set_up_below(self) -> None:
        layout, couplings = self.layout, self.couplings
        sources = layout.emitters + layout.filaments
        self._spread_back = couplings.spread.sum(axis=-1)
        self._below_column = self._fourth[..., layout.bottom.start : layout.housing + 1, None]
        self._gathered = np.empty((*self._fourth.shape[:-1], 2 * sources, 1))
        self._gained = self._gathered[..., :sources, 0]
        self._sent_column = self._gathered[..., sources:, :]
        self._arriving = np.empty_like(self._bottom_fourth)
        self._sent_back = np.empty_like(self._bottom_fourth)

    def _held(self, drive: Drive) -> Held:
        linear = self.couplings.steady_w_k + drive.fan * self.couplings.fan_w_k
        shares, zones = self.couplings.zone_shares, drive.zone_w[..., None]
        source_w = np.matmul(shares, zones)[..., 0]
        electric_w = source_w.sum(axis=-1, keepdims=True)
        return Held(linear, source_w, electric_w, bool(drive.jet.any()), bool(drive.draught.any()))

    def _fill_rates(self, drive: Drive, held: Held) -> None:
        """Set the rates from the states."""
        rate, loss = self._rate_faces, self._loss
        self._fill_fourth_powers()
        self._lose_to_air(held.linear_w_k)
        np.negative(loss, out=rate)
        for low, high, rate_low, rate_high, conductance, flow in self._pairs:
            np.subtract(high, low, out=flow)
            flow *= conductance
            rate_low += flow
            rate_high -= flow
        if self.layout.parts:
            self._touch()
        self._exchange_below()
        self._rate_bottom += self._arriving
        self._rate_sources += self._gained
        self._warm_surroundings()
        self._rate_sources += held.source_w
        self._book(drive, held)
        self._rate *= self._divide

    def _fill_fourth_powers(self) -> None:
        """Set T^4, and T and T^4 of all faces over those of the surroundings of their side."""
        fourth, upper, faces = self._fourth, self.layout.top.stop, self.layout.housing
        np.multiply(self._nodes, self._nodes, out=fourth)
        np.multiply(fourth, fourth, out=fourth)
        over, over_fourth = self._over, self._over_fourth
        np.subtract(self._upper, self._above, out=over[..., :upper])
        np.subtract(self._lower, self._housing, out=over[..., upper:])
        np.subtract(fourth[..., :upper], fourth[..., faces + 1 :], out=over_fourth[..., :upper])
        np.subtract(
            fourth[..., upper:faces], fourth[..., faces : faces + 1], out=over_fourth[..., upper:]
        )

    def _lose_to_air(self, linear: np.ndarray) -> None:
        """Set what every face gives to its surroundings: convection, fan, rim, direct radiation."""
        couplings, over, size, loss = self.couplings, self._over, self._size, self._loss
        upper = self.layout.top.stop
        np.abs(over, out=size)
        np.sqrt(size, out=self._root)
        np.sqrt(self._root, out=self._root)
        np.multiply(self._natural_mean, over, out=loss)
        size *= self._natural_lean
        loss += size
        loss *= self._root
        np.multiply(couplings.film_per_k, self._air, out=self._film)
        self._film += couplings.film_at_zero
        np.multiply(self._half_film_per_k, over, out=size)
        size[..., :upper] += self._film[..., 1:]
        size[..., upper:] += self._film[..., :1]
        loss *= size
        np.multiply(linear, over, out=size)
        loss += size
        np.multiply(couplings.direct_w_k4, self._over_fourth, out=size)
        loss += size

    def _touch(self) -> None:
        """Let mounted parts and the cells under them exchange heat."""
        contact, cells = self.couplings.contact_w_k, self._to_top
        np.matmul(contact, self._top[..., None], out=self._to_parts[..., None])
        self._to_parts -= self._part_contact_w_k * self._parts
        self._rate_parts += self._to_parts
        np.matmul(self._cell_contact, self._parts[..., None], out=cells[..., None])
        cells -= self._cell_contact_w_k * self._top
        self._rate_top += cells

    def _exchange_below(self) -> None:
        """Set what emitters and filaments gain and what of their radiation the cells keep."""
        np.matmul(self.couplings.gather, self._below_column, out=self._gathered)
        np.matmul(self.couplings.spread, self._sent_column, out=self._arriving[..., None])
        np.multiply(self._spread_back, self._bottom_fourth, out=self._sent_back)
        self._arriving -= self._sent_back

    def _warm_surroundings(self) -> None:
        """Give the surroundings what all faces lost."""
        above, housing = self._rate_air[..., 1:], self._rate_air[..., :1]
        upper = self.layout.top.stop
        np.add.reduce(self._loss[..., :upper], axis=-1, keepdims=True, out=above)
        np.add.reduce(self._rate_faces, axis=-1, keepdims=True, out=self._sums)
        np.negative(self._sums, out=housing)
        housing -= above

    def _book(self, drive: Drive, held: Held) -> None:
        """Let jet, draught and room act, and set the three energies' rates."""
        couplings, booked = self.couplings, self._booked
        between = couplings.exchange_w_k * (self._housing - self._above)
        to_room = couplings.room_loss_w_k * (self._air - couplings.room_k)
        np.add.reduce(to_room, axis=-1, keepdims=True, out=booked[..., 2:])
        to_room[..., :1] += between
        to_room[..., 1:] -= between
        self._rate_air -= to_room
        booked[..., :1] = held.electric_w
        booked[..., 1] = 0.0
        if held.blows:
            air_k = self._above + drive.jet_reach * (drive.jet_k - self._above)
            flow = drive.jet * drive.jet_strength * couplings.jet_w_k * (air_k - self._upper)
            self._rate_upper += flow
            booked[..., 1:2] += flow.sum(axis=-1, keepdims=True)
        if held.draws:
            flow = drive.draught * couplings.draught_w_k * (self._upper - couplings.room_k)
            self._rate_upper -= flow
            booked[..., 2:] += flow.sum(axis=-1, keepdims=True)
