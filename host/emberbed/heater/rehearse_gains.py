"""One run of a job under trial: the firmware itself on one heater, in the closed loop.

The plan's integers, converter words, on and off and the guard are what a device would have; the
heat is the identified heater's own equations. An analysis: it imports the simulation.
"""

from collections.abc import Iterator
from math import inf
from typing import NamedTuple

import numpy as np

from emberbed.device_description import decode_settings
from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed.heater.device_gains import TICK_S
from emberbed.heater.firmware_trial import MOST_TIMES, Course, Job, Situation, run_cost_c
from emberbed.heater.heat_model import heater_of
from emberbed.heater.rehearse_heat import IdentifiedHeat
from emberbed.limit.feedforward import planner_for
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.limits import HANDLING_C
from emberbed.profiles.model import Profile
from emberbed.profiles.plain_hold import COOLS_BY_C
from emberbed.profiles.reader import parse_profile
from emberbed_fw import run_states as rs
from emberbed_fw.plan import HOLD
from emberbed_fw.units import FULL_POWER_Q15
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import (
    BenchParameters,
    EmitterParameters,
    MainsParameters,
    SensorPlacement,
    SurroundingsParameters,
)

SENSOR = "board"
WATTS = 1000.0  # of any heater: heat is counted in parts of full power
NOISE_SEED = 1


class _Row(NamedTuple):
    setpoint_c: float
    level_c: float
    board_c: float
    power: float
    kind: int


def run_job(
    situation: Situation,
    job: Job,
    gains: Gains,
    most_cost_c: float = inf,
    made_for: dict[str, float] | None = None,
) -> Course:
    """Run the firmware until the last hold has ended, or MOST_TIMES as long as planned.

    It is given up as soon as its cost, which only grows, is more than `most_cost_c`. `made_for`:
    the numbers of the heater that the run is planned for; None: straight ramps, no planned power.
    """
    loop = closed_loop(situation, job, gains, made_for)
    rows = list(_within(most_cost_c, job, _rows(loop, round(MOST_TIMES * job.planned_s / TICK_S))))
    columns = np.array(rows, float).reshape(-1, len(_Row._fields)).T
    life = loop.machine.life
    finished = life.state == rs.COOL and life.verdict == rs.FINISHED
    setpoint_c, level_c, board_c, power, kind = columns
    return Course(setpoint_c, level_c, board_c, power, kind == HOLD, finished)


def closed_loop(
    situation: Situation, job: Job, gains: Gains, made_for: dict[str, float] | None = None
) -> ClosedLoop:
    """Return firmware and plant for a job, armed when it is run."""
    values, nominal_v = situation.values, MainsParameters.nominal_v
    bench = BenchParameters(
        emitter=EmitterParameters(watts=WATTS),
        surroundings=SurroundingsParameters(room_c=values["room_c"]),
        mains=MainsParameters(nominal_v, nominal_v * situation.mains),
        sensors=(SensorPlacement(SENSOR, lag_s=values["sensor_lag_s"] / 2),),  # and the face's
    )
    settings = bench_settings(bench)
    device = decode_settings(settings)
    planner = None if made_for is None else planner_for(tuple(made_for.items()), values["room_c"])
    cap = POWER_CAP if planner is None else 1.0
    profile, names, most_cdeg = job_profile(job), device.channel_names(), device.ceilings_cdeg()
    plan = compile_plan(profile, names, most_cdeg, gains, cap, planner=planner)
    heat = IdentifiedHeat(heater_of(values, WATTS), TICK_S)
    return ClosedLoop(settings, plan, SimulatedHeater(bench, NOISE_SEED, (), heat))


def job_profile(job: Job) -> Profile:
    """Return a job as a profile of one sensor."""
    longest_s = round(MOST_TIMES * job.planned_s) + 60
    lines = ['name = "Trial of gains"', 'alloy = "unknown"', 'laminate = "unknown"']
    lines += ["[sensors]", f'{SENSOR} = "control"']
    for level_c, rate in zip(job.levels_c, job.rates_c_per_s, strict=True):
        longest = f"longest_s = {longest_s}"
        lines += ["[[stages]]", 'kind = "ramp"', f"to_c = {level_c:.12g}"]
        lines += [f"rate_c_per_s = {rate:.12g}", longest]
        lines += ["[[stages]]", 'kind = "hold"', f"for_s = {job.hold_s:g}", longest]
    below_c = min(HANDLING_C, job.levels_c[0] - COOLS_BY_C)
    lines += ["[[stages]]", 'kind = "cool"', f"below_c = {below_c:g}"]
    lines += ["fastest_c_per_s = 2", 'fan = "never"']
    return parse_profile("\n".join([*lines, ""]).encode(), "Trial of gains").model


def _within(most_cost_c: float, job: Job, rows: Iterator[_Row]) -> Iterator[_Row]:
    """Yield rows while the run's cost is no more than this."""
    error_c = overshoot_c = 0.0
    for row in rows:
        yield row
        error_c += abs(row.setpoint_c - row.board_c)
        overshoot_c = max(overshoot_c, row.board_c - row.level_c)
        if run_cost_c(error_c, overshoot_c, job) > most_cost_c:
            return


def _rows(loop: ClosedLoop, most_ticks: int) -> Iterator[_Row]:
    """Yield a row for each tick of the stages, until the heating has ended."""
    machine, bead = loop.machine, loop.heater.beads.couples[0]
    begun = False
    for _record in loop.run(most_ticks):
        if machine.life.state in rs.STAGED_STATES:
            begun = True
            sequencer = machine.sequencer
            assert sequencer is not None
            yield _Row(
                sequencer.setpoint_cdeg / 100,
                sequencer.level_cdeg() / 100,
                bead.bead_c,
                machine.demand_q15[0] / FULL_POWER_Q15,
                sequencer.kind(),
            )
        elif begun:
            return
