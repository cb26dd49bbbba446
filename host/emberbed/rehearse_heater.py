"""The simulated bench made like an identified heater, as far as a step test can tell.

Takes a heater file's numbers and a profile, gives a Bench: watts, the emitter's heat capacity and
air, what it exchanges with board and surroundings, the board with its losses, the surroundings and
the sensors' lag are the file's. A step test tells the board's heat capacity and its share of the
radiation only as a ratio, so the profile's own board cannot stand in for the identified one.
`left_out` says in sentences what the file could not give or the bench could not take.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from emberbed.bench.prepare import NotReady
from emberbed.heater.heat_model import Heater, heater_of
from emberbed.heater.heater_file import HeaterFile
from emberbed.learn.identified import Identified
from emberbed.profiles.reader import ProfileFile
from emberbed.rehearse_bench import Bench, bench_of
from emberbed_fw.settings import MAX_WATTS
from emberbed_sim.plant.couplings import Flows, Lumps, lumps_of
from emberbed_sim.plant.parameters import (
    DEFAULT_SENSORS,
    BenchParameters,
    EmitterParameters,
    SensorPlacement,
)
from emberbed_sim.plant.thermal import ThermalNetwork

LEAST_WATTS = 1


@dataclass(frozen=True)
class OnHeater:
    """A profile and the identified heater it is rehearsed on."""

    profile_file: ProfileFile
    identified: Identified
    sensors: tuple[SensorPlacement, ...] = DEFAULT_SENSORS

    def __post_init__(self) -> None:
        watts = self.heater.scale.full_power_w
        if watts is not None and not LEAST_WATTS <= watts <= MAX_WATTS:
            raise NotReady(
                [
                    f"{self.shown}: full_power_w is {watts:g}, and a device drives {LEAST_WATTS} to"
                    f" {MAX_WATTS} W; identify the heater again with --watts, or mend the file"
                ]
            )

    @property
    def heater(self) -> HeaterFile:
        return self.identified.heater

    @property
    def shown(self) -> str:
        """Return what sentences call the heater file."""
        return self.identified.shown

    @property
    def watts(self) -> float:
        """Return the heater's watts; where the file has none, those of the simulated bench."""
        return self.heater.scale.full_power_w or EmitterParameters.watts

    def bench(self, values: Mapping[str, float] | None = None) -> Bench:
        """Return the bench with the file's numbers, or with others that are as likely."""
        numbers = self.heater.values if values is None else values
        parameters = self._parameters(numbers)
        lumps = self._lumps(lumps_of(parameters), heater_of(numbers, self.watts))
        # its board is rehearsed, so the guard is told of that one
        known = replace(self.identified, on_its_board=True)
        return Bench(parameters, lambda: ThermalNetwork(parameters, lumps), known)

    def worth(self) -> str:
        """Return what a rehearsal on this heater is worth."""
        fit = self.heater.fit
        unseen = fit.percent_unseen
        scored = "" if unseen is None else f", {unseen:.1f} % on what it had not seen"
        return (
            f"Rehearsed on the heater of {self.shown}: as good as its fit"
            f" ({fit.percent_fitted:.1f} %{scored}) and its board."
        )

    def left_out(self) -> list[str]:
        """Return what was not taken over, a sentence each."""
        return [*self._about_watts(), *self._about_board(), *self._about_the_rest()]

    def _parameters(self, numbers: Mapping[str, float]) -> BenchParameters:
        usual = bench_of(self.profile_file, self.sensors)
        half_s = numbers["sensor_lag_s"] / 2
        lags = {"lag_s": half_s, "through_s": half_s}
        return replace(
            usual,
            emitter=replace(usual.emitter, watts=self.watts),
            sensors=tuple(replace(placed, **lags) for placed in usual.sensors),
        )

    def _lumps(self, usual: Lumps, physics: Heater) -> Lumps:
        """Return the usual coefficients with the identified ones in their place.

        What the file counts for the whole board is shared out as on the usual bench.
        """
        _emitter, centre, edge, _around, chip = usual.capacities_j_k
        grown = _number(physics.board_j_k) / (centre + edge + chip)
        capacities = (
            _number(physics.emitter_j_k),
            grown * centre,
            grown * edge,
            _number(physics.surroundings_j_k),
            grown * chip,
        )
        return Lumps(capacities, _flows(usual.flows, physics, grown))

    def _about_watts(self) -> list[str]:
        if self.heater.scale.full_power_w is not None:
            return []
        return [
            f"The file does not say the heater's watts: {self.watts:g} W are assumed, so the curve"
            " is this heater's and the energy is not."
        ]

    def _about_board(self) -> list[str]:
        if self.profile_file.model.board is None:
            return ["The profile states no board: the identified one is rehearsed."]
        if self.heater.scale.full_power_w is None:
            return [
                "Without watts the profile's board cannot be compared with the identified one,"
                " which is rehearsed."
            ]
        number = self.heater.parameters["board_capacity_s_per_k"]
        found_j_k, low_j_k, high_j_k = (
            self.watts * one for one in (number.value, number.low, number.high)
        )
        stated_j_k = bench_of(self.profile_file).board.heat_capacity_j_k
        sentence = (
            f"The identified board is rehearsed: {found_j_k:.0f} J/K ({low_j_k:.0f} to"
            f" {high_j_k:.0f}); the profile's has about {stated_j_k:.0f} J/K"
        )
        if low_j_k <= stated_j_k <= high_j_k:
            return [f"{sentence}."]
        return [f"{sentence} and is another one: identify the heater with a board like it."]

    def _about_the_rest(self) -> list[str]:
        room_c, exponent = (self.heater.values[name] for name in ("room_c", "drive_exponent"))
        usual_c = BenchParameters().surroundings.room_c
        sentences = [
            f"The room of that day ({room_c:.1f} °C) is not taken over: {usual_c:g} °C is.",
            "Chip, rim, fan and hot air were not measured: they are the simulated bench's.",
        ]
        if exponent != 1:
            sentences.append(
                f"The drive's exponent ({exponent:.2f}) is not needed: a device switches full power"
                " on and off."
            )
        held = [name for name, number in self.heater.parameters.items() if not number.from_data]
        if held:
            sentences.append(f"Not carried by the data, but by what is usual: {', '.join(held)}.")
        return sentences


def _flows(usual: Flows, physics: Heater, grown: float) -> Flows:
    """Return the usual conductances with the identified sums in their place."""
    to_board = _shared(usual[0:2], physics.emitter_board_w_k4)
    around = _shared(usual[3:6], physics.board_around_w_k4)
    air = _shared(usual[7:10], physics.board_air_w_k125)
    return usual._replace(
        emitter_centre_w_k4=to_board[0],
        emitter_edge_w_k4=to_board[1],
        emitter_around_w_k4=_number(physics.emitter_around_w_k4),
        centre_around_w_k4=around[0],
        edge_around_w_k4=around[1],
        chip_around_w_k4=around[2],
        emitter_air_w_k=_number(physics.emitter_air_w_k),
        centre_air_w_k125=air[0],
        edge_air_w_k125=air[1],
        chip_air_w_k125=air[2],
        # a board that much heavier evens out as fast inside
        centre_edge_w_k=grown * usual.centre_edge_w_k,
        centre_chip_w_k=grown * usual.centre_chip_w_k,
        room_loss_w_k=_number(physics.room_loss_w_k),
    )


def _shared(parts: Sequence[float], whole: object) -> list[float]:
    """Return parts in the same proportions that add up to `whole`."""
    factor = _number(whole) / sum(parts)
    return [part * factor for part in parts]


def _number(value: object) -> float:
    """Return one number of a model that can also hold arrays."""
    return float(value)  # type: ignore[arg-type]
