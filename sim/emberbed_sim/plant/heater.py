"""The simulated heater: drives in, converter words and senses out, one tick of 100 ms at a time.

`step` takes what a device drives; afterwards `words`, `port_flags` and `fresh_channels` are what
it reads for its next tick, the first ones being there from the start. A conversion takes the whole
tick, so the words show the beads as they were when it began. What a person does at the bench, and
no device drives, are methods of their own. `truth` is for monitors and rehearsals, never for a
controller. Same bench, seed, faults, drives and hands: same bits.
"""

from collections.abc import Iterable
from dataclasses import replace
from math import exp
from typing import NamedTuple

from emberbed_sim.plant.baths import bath_of
from emberbed_sim.plant.beads import Beads
from emberbed_sim.plant.bench_plant import BenchPlant
from emberbed_sim.plant.converter_board import ConverterBoard
from emberbed_sim.plant.fault_catalogue import HOT_AIR_C, FaultEvent
from emberbed_sim.plant.happenings import Happening, Happenings
from emberbed_sim.plant.nozzle import STILL, Jet, Nozzle
from emberbed_sim.plant.parameters import TICK_S, ZERO_C_K, BenchParameters
from emberbed_sim.plant.switches import SwitchGear
from emberbed_sim.plant.thermal import ThermalNetwork

TICKS_PER_S = round(1 / TICK_S)
PLANTS = ("lumped", "grid", "two-zones")  # the last: a grid over a bank in two zones
MIDDLE_SHARE = 0.3  # of the watts of a bank in two zones, about its share of the area; from memory
# Surroundings over the room as a share of the emitters' rise when the last board has just come
# off; a simulated run to 212 degC with the fan on leaves 52 degC around emitters of 250 degC.
HOT_SURROUNDINGS_SHARE = 0.13


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
    chip_c: float
    air_on: bool  # hot air from above
    places_c: tuple[float, ...]  # what each bead should read, by channel


class SimulatedHeater:
    """A bench that can be driven, read, handled and broken.

    `plant` is one of PLANTS, made from the bench, or heat in a bench that was made elsewhere.
    """

    def __init__(
        self,
        bench: BenchParameters,
        seed: int,
        faults: Iterable[FaultEvent] = (),
        plant: str | BenchPlant = PLANTS[0],
    ) -> None:
        self.bench = bench
        self.seed = seed
        self.thermal = plant_of(bench, plant)
        self.switches = SwitchGear(len(self.thermal.zone_full_w))
        self.beads = Beads(bench)
        self.cold_junction_c = bench.surroundings.room_c
        self.emitter_power_w = 0.0
        self.converters = ConverterBoard(
            [placed.converter for placed in bench.sensors], bench.noise_c, seed
        )
        self._ticks = 0
        self._nozzle = Nozzle(bench, seed)
        self._jet = STILL
        self._hand_air_c: float | None = None
        self._full_w = [rated * bench.mains.power_factor for rated in self.thermal.zone_full_w]
        self._cold_follows = 1 - exp(-TICK_S / bench.surroundings.cold_junction_lag_s)
        self._happenings = Happenings(faults, len(bench.sensors), len(self._full_w))
        self._come_to_pass(0.0)
        self._read_out(self._converted(self._happenings.at(0.0), 0.0))

    @property
    def elapsed_s(self) -> float:
        """Return the simulated time in s."""
        return self._ticks / TICKS_PER_S

    @property
    def air_on(self) -> bool:
        """Tell whether hot air from above is really on."""
        return self._jet != STILL

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
            tuple(couple.bead_c for couple in self.beads.couples),
            self.emitter_power_w,
            switches.ssr_conducts,
            switches.contactor_closed,
            switches.fan_turns,
            thermal.chip_k - ZERO_C_K,
            self._jet != STILL,
            tuple(thermal.place_c(couple.placement) for couple in self.beads.couples),
        )

    def add_faults(self, faults: Iterable[FaultEvent]) -> None:
        """Let these happen too; their times are the bench's."""
        self._happenings.add(faults)

    def step(self, driven_zones: int, outputs: int) -> None:
        """Advance one tick with these drive bits (bit n: the emitters of zone n), output bits."""
        elapsed_s = self._ticks / TICKS_PER_S
        self._come_to_pass(elapsed_s)
        now = self._happenings.at(elapsed_s)
        words = self._converted(now, elapsed_s)
        shares = self.switches.step(driven_zones, outputs, now)
        zone_w = [share * full_w for share, full_w in zip(shares, self._full_w, strict=True)]
        self.emitter_power_w = sum(zone_w)
        self._jet = self._blowing(now, elapsed_s)
        draught_w_m2_k = sum(event.amount for event in now.get("draught", ())) if now else 0
        fan = 1.0 if self.switches.fan_turns else 0.0
        self.thermal.step(zone_w, fan, self._jet, draught_w_m2_k)
        self.beads.step(self.thermal, self._jet, now, elapsed_s)
        self._warm_cold_junction()
        self._ticks += 1
        self._read_out(words)

    def blow(self, air_c: float | None = HOT_AIR_C) -> None:
        """Hold a nozzle with air of this temperature (degC) over the chip; None takes it away."""
        self._hand_air_c = air_c

    def change_board(self) -> None:
        """Put a cold board, with chip and beads, in place of the one there; the rest stays hot."""
        self.thermal.put_board()
        self.beads.onto_cold_board()

    def finger(self, channel: int, seconds: float) -> None:
        """Lay a warm finger on a channel's bead for some simulated seconds."""
        self.beads.finger(channel, self.elapsed_s + seconds)

    def unplug(self, channel: int, seconds: float) -> None:
        """Pull a channel's thermocouple out of its converter for some simulated seconds."""
        self.add_faults([FaultEvent("tc_open", self.elapsed_s, seconds, float(channel))])

    def lift(self, channel: int) -> None:
        """Lift a channel's bead off its place."""
        self.beads.lift(channel)

    def press(self, channel: int) -> None:
        """Press a channel's bead down again."""
        self.beads.press(channel)

    def place(self, channel: int, x_mm: float, y_mm: float) -> None:
        """Set a channel's bead down on another spot of the board, counted from its middle."""
        self.thermal.check_spot(x_mm, y_mm)
        self.beads.place(channel, x_mm, y_mm)

    def dip(self, channel: int, kind: str | None, number: float = 0.0) -> None:
        """Put a channel's bead into a bath (baths.bath_of); None puts it back to its place."""
        bath = None if kind is None else bath_of(kind, number, self.elapsed_s)
        self.beads.dip(channel, bath)

    def misread(self, channel: int, offset_k: float, gain: float) -> None:
        """Give a channel a couple that reads wrong: times `gain`, plus an offset in K."""
        self.beads.misread(channel, offset_k, gain)

    def _converted(self, now: Happening, elapsed_s: float) -> bytes:
        """Return the words of conversions that begin now."""
        beads_c = self.beads.shown_c()
        around_c = self.thermal.surroundings_k - ZERO_C_K
        return self.converters.convert(beads_c, self.cold_junction_c, around_c, now, elapsed_s)

    def _read_out(self, words: bytes) -> None:
        """Set what a device reads of this tick."""
        self.words = words
        self.fresh_channels = self.converters.fresh_channels
        self.port_flags = self.switches.port_flags | self.converters.port_flags

    def _blowing(self, now: Happening, elapsed_s: float) -> Jet:
        """Return the jet of this tick: one nozzle, with the hottest air that anyone asks for."""
        if not now and self._hand_air_c is None:
            return STILL
        wandering = now.get("hot_air_wanders", ())
        airs_c = [event.amount for event in (*now.get("hot_air", ()), *wandering)]
        if self._hand_air_c is not None:
            airs_c.append(self._hand_air_c)
        if not airs_c:
            return STILL
        return self._nozzle.jet(elapsed_s, max(airs_c), bool(wandering))

    def _come_to_pass(self, elapsed_s: float) -> None:
        """Let happen what happens at once and has come due."""
        for event in self._happenings.due(elapsed_s):
            if event.name == "cold_chip":
                self.thermal.put_chip()
            elif event.name == "board_changed":
                self.change_board()
            elif event.name == "hot_bench":
                self._heat_through(event.amount)

    def _heat_through(self, emitter_c: float) -> None:
        """Leave emitters, surroundings and electronics as a day of boards does."""
        room_c = self.bench.surroundings.room_c
        around_c = room_c + HOT_SURROUNDINGS_SHARE * (emitter_c - room_c)
        self.thermal.heat_through(emitter_c + ZERO_C_K, around_c + ZERO_C_K)
        self.beads.settle_on_emitters(emitter_c)
        self.cold_junction_c = self._electronics_c()

    def _electronics_c(self) -> float:
        """Return where the cold junction would end up with these surroundings."""
        around = self.bench.surroundings
        around_c = self.thermal.surroundings_k - ZERO_C_K
        return around.room_c + around.cold_junction_share * (around_c - around.room_c)

    def _warm_cold_junction(self) -> None:
        self.cold_junction_c += (self._electronics_c() - self.cold_junction_c) * self._cold_follows


def bench_in_zones(bench: BenchParameters, plant: str | BenchPlant) -> BenchParameters:
    """Return the bench as this plant has its emitters: in one zone or in two."""
    if plant != PLANTS[2] or bench.emitter.middle_watts:
        return bench
    emitter = replace(bench.emitter, middle_watts=MIDDLE_SHARE * bench.emitter.watts)
    return replace(bench, emitter=emitter)


def plant_of(bench: BenchParameters, plant: str | BenchPlant) -> BenchPlant:
    """Return the heat in a bench: one of PLANTS by name, or what is given."""
    if not isinstance(plant, str):
        return plant
    if plant not in PLANTS:
        raise ValueError(f"Plant '{plant}' is not known; the plants are {', '.join(PLANTS)}.")
    if plant == PLANTS[0]:
        return ThermalNetwork(bench)
    from emberbed_sim.plant.grid_thermal import GridThermal  # numpy: only where it is needed

    return GridThermal.of(bench_in_zones(bench, plant))
