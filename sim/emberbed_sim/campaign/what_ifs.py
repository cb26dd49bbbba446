"""The same plan on many benches, the shipped firmware in the loop: what each run comes to.

A `Case` is plain data. Needs this package and the firmware only, so that PyPy does it as well.
"""

from collections.abc import Sequence
from typing import NamedTuple

from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S
from emberbed_sim.campaign.monitor import Allowed, Monitor
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.operator import Operator
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import ZERO_C_K, BenchParameters

COOLING_WATCHED_S = 120.0  # the emitters' stored heat has arrived by then


class Case(NamedTuple):
    """One run: what the device holds, and what it meets."""

    settings: bytes
    plan: bytes
    bench: BenchParameters
    seed: int


class Outcome(NamedTuple):
    """What is really so, not what was read, until two minutes into the cooling.

    `stages` by number: seconds, lowest and highest °C of the place of the control sensor.
    """

    state: int  # emberbed_fw.run_states; COOL: nothing ended it before
    trip: int
    peaks_c: tuple[float, ...]  # of the sensors' places, by channel
    from_below_c: float  # peak of the control sensor's place before any hot air
    over_limit_k: float  # how far the worst place was above its limit, negative below
    stages: dict[int, tuple[float, float, float]]


def run_cases(cases: Sequence[Case], control: int) -> list[Outcome]:
    """Run these, one after the other; `control` is the channel whose stages are told."""
    return [_run(case, control) for case in cases]


def _run(case: Case, control: int) -> Outcome:
    heater = SimulatedHeater(case.bench, case.seed)
    loop = ClosedLoop(case.settings, case.plan, heater, Operator())
    monitor = Monitor(loop, case.plan, (), Allowed())
    heat, couples = heater.thermal, heater.beads.couples
    peaks_c = [-ZERO_C_K] * len(couples)
    stages: dict[int, tuple[int, float, float]] = {}
    cooled, from_below_c, blown = 0, -ZERO_C_K, False
    for _record in loop.run():
        monitor.step()
        places_c = [heat.place_c(couple.placement) for couple in couples]
        peaks_c = [max(pair) for pair in zip(peaks_c, places_c, strict=True)]
        blown = blown or heater.air_on
        if not blown:
            from_below_c = max(from_below_c, places_c[control])
        stage, place_c = loop.machine.stage(), places_c[control]
        if stage != NONE:
            ticks, low_c, high_c = stages.get(stage, (0, place_c, place_c))
            stages[stage] = ticks + 1, min(low_c, place_c), max(high_c, place_c)
        cooled += loop.machine.life.state == rs.COOL
        if cooled > COOLING_WATCHED_S * TICKS_PER_S or loop.machine.life.state == rs.LOADED:
            break  # or the offer to heat has expired: a run would be refused
    machine = loop.machine
    told = {at: (ticks / TICKS_PER_S, low, high) for at, (ticks, low, high) in stages.items()}
    return Outcome(
        machine.life.state, machine.guard.trip, tuple(peaks_c), from_below_c,
        monitor.over_limit_k, told,
    )  # fmt: skip
