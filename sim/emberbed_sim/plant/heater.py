"""The simulated heater: drives in, converter words and senses out, one tick of 100 ms at a time.

`step` takes what a device drives; afterwards `words`, `port_flags` and `fresh_channels` are what
it reads for its next tick, the first ones being there from the start. A conversion takes the whole
tick, so the words show the beads as they were when it began. `truth` is for monitors and
rehearsals, never for a controller. Same bench, seed, faults and drives: same bits.
"""

from collections.abc import Sequence
from math import exp
from random import Random
from typing import NamedTuple

from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.converter import bus_bytes, convert, open_word
from emberbed_sim.plant.parameters import TICK_S, BenchParameters
from emberbed_sim.plant.switches import SwitchGear
from emberbed_sim.plant.thermal import SIGMA_W_M2_K4, ZERO_C_K, ThermalNetwork
from emberbed_sim.plant.thermocouple import Thermocouple

TICKS_PER_S = round(1 / TICK_S)


class Truth(NamedTuple):
    """What is really so at the end of the last tick."""

    elapsed_s: float
    emitter_c: float
    board_centre_c: float
    board_edge_c: float
    surroundings_c: float
    cold_junction_c: float
    beads_c: tuple[float, ...]
    emitter_power_w: float  # electric, mean over the tick
    ssr_conducts: bool
    contactor_closed: bool
    fan_turns: bool


class SimulatedHeater:
    """A bench that can be driven, read and broken."""

    def __init__(
        self, bench: BenchParameters, seed: int, faults: Sequence[FaultEvent] = ()
    ) -> None:
        self.bench = bench
        self.thermal = ThermalNetwork(bench)
        self.switches = SwitchGear()
        start_c = bench.surroundings.room_c
        self.thermocouples = [Thermocouple(placed, start_c) for placed in bench.sensors]
        self.cold_junction_c = start_c
        self.emitter_power_w = 0.0
        self.fresh_channels = (1 << len(bench.sensors)) - 1
        self._ticks = 0
        self._random = Random(seed)
        self._full_w = bench.emitter.watts * bench.mains.power_factor
        self._cold_follows = 1 - exp(-TICK_S / bench.surroundings.cold_junction_lag_s)
        self._stuck_on = [fault for fault in faults if fault.name == "ssr_stuck_on"]
        self._open = [fault for fault in faults if fault.name == "tc_open"]
        for fault in self._open:
            if fault.amount >= len(bench.sensors):
                raise ValueError(
                    f"Fault tc_open names channel {fault.amount:g}, but the last sensor of this "
                    f"bench is on channel {len(bench.sensors) - 1}."
                )
        self.words = self._converted()
        self.port_flags = self.switches.port_flags

    @property
    def elapsed_s(self) -> float:
        """Return the simulated time in s."""
        return self._ticks / TICKS_PER_S

    @property
    def truth(self) -> Truth:
        """Return what is really so, for a judge that must not believe the sensors."""
        thermal, switches = self.thermal, self.switches
        return Truth(
            self.elapsed_s,
            thermal.emitter_k - ZERO_C_K,
            thermal.centre_k - ZERO_C_K,
            thermal.edge_k - ZERO_C_K,
            thermal.surroundings_k - ZERO_C_K,
            self.cold_junction_c,
            tuple(couple.bead_c for couple in self.thermocouples),
            self.emitter_power_w,
            switches.ssr_conducts,
            switches.contactor_closed,
            switches.fan_turns,
        )

    def step(self, driven_zones: int, outputs: int) -> None:
        """Advance one tick with these zone drive bits and output bits."""
        words = self._converted()
        switches = self.switches
        stuck = bool(self._stuck_on) and _any_active(self._stuck_on, self.elapsed_s)
        self.emitter_power_w = switches.step(driven_zones, outputs, stuck) * self._full_w
        self.thermal.step(self.emitter_power_w, 1.0 if switches.fan_turns else 0.0)
        self._follow()
        self._ticks += 1
        self.words = words
        self.port_flags = switches.port_flags

    def _converted(self) -> bytes:
        """Return the words of conversions that begin now."""
        cold_c, noise_c, gauss = self.cold_junction_c, self.bench.noise_c, self._random.gauss
        words = [
            convert(couple.bead_c + gauss(0.0, noise_c), cold_c) for couple in self.thermocouples
        ]
        for fault in self._open:
            if fault.active_at(self.elapsed_s):
                words[int(fault.amount)] = open_word(cold_c)
        return bus_bytes(words)

    def _follow(self) -> None:
        """Let the beads and the cold junction follow the new temperatures."""
        thermal, around = self.thermal, self.bench.surroundings
        air_c = thermal.surroundings_k - ZERO_C_K
        emitter4 = thermal.emitter_k**4
        for couple in self.thermocouples:
            place_k = self._place_k(couple.placement.where)
            net_kw_m2 = SIGMA_W_M2_K4 * (emitter4 - place_k**4) * 1e-3
            couple.step(place_k - ZERO_C_K, air_c, net_kw_m2)
        warmed_c = around.room_c + around.cold_junction_share * (air_c - around.room_c)
        self.cold_junction_c += (warmed_c - self.cold_junction_c) * self._cold_follows

    def _place_k(self, where: str) -> float:
        if where == "board_centre":
            return self.thermal.centre_k
        return self.thermal.edge_k if where == "board_edge" else self.thermal.emitter_k


def _any_active(faults: Sequence[FaultEvent], elapsed_s: float) -> bool:
    return any(fault.active_at(elapsed_s) for fault in faults)
