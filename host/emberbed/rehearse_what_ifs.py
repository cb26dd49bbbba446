"""How a profile ends where board, mains, room and sensor are not as told: `rehearse --what-ifs N`.

Takes a rehearsal on the usual bench and draws N others around it. The shipped firmware runs the
rehearsal's own plan on them, all of them in PyPy, the first few where only CPython is there. Beside
that stands what the same power would do with nobody correcting, before any hot air, on all N: the
lumped plant alone, in machine code where it can be built. What is told is the truth of the
simulation, not the readings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from emberbed.rehearse import Rehearsal
from emberbed.report import display
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.campaign import what_ifs_pool
from emberbed_sim.campaign.what_ifs import Case, Outcome
from emberbed_sim.kernel.benches import benches_of
from emberbed_sim.kernel.courses import march
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters

# What is drawn, evenly: how far people's boards and benches differ from what they say of them.
# Plausible widths, from memory; nobody has measured a fleet of benches.
RANGES = {
    "board_mass": (0.7, 1.3),
    "mains_volts": (0.9, 1.1),
    "emissivity": (0.8, 1.2),
    "room_c": (10.0, 35.0),
    "sensor_lag": (0.6, 2.0),
}
DRAWN = (
    "board's mass ±30 %, mains ±10 %, emissivity ±20 %, room 10 to 35 °C, sensor's lag ×0.6 to 2"
)
MOST_IN_CPYTHON = 24  # a run takes a second or more there
NINE_OF_TEN = (5.0, 50.0, 95.0)  # percentiles


@dataclass(frozen=True)
class WhatIfs:
    """`outcomes` of the first of `drawn`; `open_peak_c` of all, [plant], before hot air."""

    drawn: Sequence[Mapping[str, float]]
    outcomes: Sequence[Outcome]
    engine: str
    open_peak_c: np.ndarray
    open_engine: str
    control: int
    holds: Sequence[int]  # numbers of the hold stages
    seed: int

    def peaks_c(self) -> np.ndarray:
        return np.array([one.peaks_c[self.control] for one in self.outcomes])

    @property
    def ended_well(self) -> int:
        return sum(one.state in (rs.COOL, rs.FINISHED) for one in self.outcomes)

    @property
    def within_limits(self) -> int:
        """Return how many kept every sensor's place below its limit, whatever else they did."""
        return sum(one.over_limit_k <= 0 for one in self.outcomes)

    def heating_s(self) -> np.ndarray:
        """Return how long all stages before the cooling took, of runs that came to it."""
        last = max((max(one.stages, default=0) for one in self.outcomes), default=0)
        return np.array(
            [
                sum(took[0] for stage, took in one.stages.items() if stage != last)
                for one in self.outcomes
                if last in one.stages
            ]
        )

    def in_hold_c(self, stage: int) -> tuple[float, float] | None:
        """Return where nine of ten runs were through a hold: lowest, highest."""
        been = [one.stages[stage][1:] for one in self.outcomes if stage in one.stages]
        if not been:
            return None
        low_c, high_c = np.array(been).T
        return float(np.percentile(low_c, NINE_OF_TEN[0])), float(
            np.percentile(high_c, NINE_OF_TEN[2])
        )


class Power:
    """Notes the power and the fan of a rehearsal, tick by tick, until hot air comes."""

    def __init__(self) -> None:
        self.watts: list[float] = []
        self.fan: list[float] = []
        self._blown = False

    def look(self, _record: object, heater: SimulatedHeater) -> None:
        self._blown = self._blown or heater.air_on
        if not self._blown:
            self.watts.append(heater.emitter_power_w)
            self.fan.append(float(heater.switches.fan_turns))


def draw(count: int, seed: int) -> list[dict[str, float]]:
    """Return what is so on each bench; the first ones are the same for any count."""
    random = Random(f"what-ifs {seed}")
    return [{name: random.uniform(*ends) for name, ends in RANGES.items()} for _ in range(count)]


def varied(bench: BenchParameters, what: Mapping[str, float]) -> BenchParameters:
    """Return the bench as it would be."""
    board, emitter, mains = bench.board, bench.emitter, bench.mains
    grey = what["emissivity"]
    return replace(
        bench,
        board=replace(
            board,
            mass_g=board.mass_g * what["board_mass"],
            emissivity=min(1.0, board.emissivity * grey),
        ),
        emitter=replace(emitter, emissivity=min(1.0, emitter.emissivity * grey)),
        mains=replace(mains, actual_v=mains.nominal_v * what["mains_volts"]),
        surroundings=replace(bench.surroundings, room_c=what["room_c"]),
        sensors=tuple(
            replace(placed, lag_s=placed.lag_s * what["sensor_lag"]) for placed in bench.sensors
        ),
    )


def _without_stray(bench: BenchParameters) -> BenchParameters:
    return replace(bench, sensors=tuple(replace(one, stray_ir=0.0) for one in bench.sensors))


def what_ifs_of(
    done: Rehearsal, bench: BenchParameters, power: Power, control: int, count: int, seed: int
) -> WhatIfs:
    """Run them. Raises TracedError."""
    drawn = draw(count, seed)
    benches = [varied(bench, what) for what in drawn]
    pypy = what_ifs_pool.engine_for(count)
    closed = benches if pypy else benches[:MOST_IN_CPYTHON]
    cases = [Case(done.settings, done.prepared.plan, one, seed + n) for n, one in enumerate(closed)]
    outcomes, engine = what_ifs_pool.outcomes(cases, control, pypy)
    full_w = bench.emitter.watts * bench.mains.power_factor
    shares, fan = np.array(power.watts) / full_w, np.array(power.fan)
    # lag only: what the bead sees of the emitters is no truth
    plain = [_without_stray(one) for one in benches]
    courses = march(benches_of(plain), shares, fan, every=TICKS_PER_S, precision="single")
    stages = done.prepared.profile_file.model.stages
    holds = [at for at, stage in enumerate(stages) if stage.kind == "hold"]
    open_peak_c = courses.bead_c[:, control].max(axis=0, initial=-np.inf)
    return WhatIfs(drawn, outcomes, engine, open_peak_c, courses.engine, control, holds, seed)


def as_lines(found: WhatIfs, name: str) -> list[str]:
    """Return it for a person; `name` is the control sensor's."""
    count, ran = len(found.drawn), len(found.outcomes)
    some = "" if ran == count else f" on the first {ran}, as PyPy is not here to run them all"
    lines = [
        f"{count} what-ifs around this bench ({DRAWN}; drawn evenly):",
        f"    the firmware corrects ({found.engine}){some}:",
        f"    {name}'s place: peak {_range_c(found.peaks_c())}",
    ]
    for stage in found.holds:
        ends = found.in_hold_c(stage)
        if ends is not None:
            low, high = (display.celsius(end) for end in ends)
            lines.append(f"    stage {stage + 1}, hold: between {low} and {high} in nine of ten")
    heating_s = found.heating_s()
    if len(heating_s):
        low, middle, high = (display.clock(at) for at in np.percentile(heating_s, NINE_OF_TEN))
        lines.append(f"    {middle} until the cooling; nine of ten within {low} to {high}")
    lines.append(
        f"    {found.ended_well} of {ran} come to their cooling; every limit kept in"
        f" {found.within_limits} of {ran}"
    )
    if np.isfinite(found.open_peak_c).all():
        from_below_c = np.array([one.from_below_c for one in found.outcomes])
        lines += [
            f"    before hot air: peak {_range_c(from_below_c)}",
            f"    the same power with nobody correcting (all {count}, {found.open_engine}):"
            f" peak {_range_c(found.open_peak_c)}",
        ]
    return lines


def as_json(found: WhatIfs) -> dict[str, object]:
    """Return it for scripts, every run of it."""
    return {
        "count": len(found.drawn),
        "seed": found.seed,
        "ranges": {name: list(ends) for name, ends in RANGES.items()},
        "engine": found.engine,
        "come_to_cooling": found.ended_well,
        "limits_kept": found.within_limits,
        "runs": [
            {
                **what,
                "state": one.state,
                "trip": one.trip,
                "peak_c": round(one.peaks_c[found.control], 2),
                "peak_from_below_c": round(one.from_below_c, 2),
                "over_limit_k": round(one.over_limit_k, 2),
                "stages": {
                    str(stage + 1): {"seconds": took_s, "low_c": low_c, "high_c": high_c}
                    for stage, (took_s, low_c, high_c) in sorted(one.stages.items())
                },
            }
            for what, one in zip(found.drawn, found.outcomes, strict=False)
        ],
        "nobody_corrects": {
            "engine": found.open_engine,
            "peak_c": np.round(found.open_peak_c.astype(float), 2).tolist(),
        },
    }


def _range_c(values_c: np.ndarray) -> str:
    low, middle, high = (
        display.celsius(float(one)) for one in np.percentile(values_c, NINE_OF_TEN)
    )
    return f"{middle}, nine of ten within {low} to {high}"
