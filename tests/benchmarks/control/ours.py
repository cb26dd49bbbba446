"""Ours: the shipped firmware with the plan and the gains of an identified heater.

`run_ours` takes everything as on a bench: the profile is compiled for the heater file, the board's
temperature before heat known, and the firmware's own ticks run against converter words and
switches. The course has no noise: it is the bead itself, as the other controllers are judged.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from emberbed.device_description import decode_settings
from emberbed.heater.heater_file import HeaterFile, read_heater
from emberbed.learn.identified import Identified
from emberbed.limit.feedforward import planner_for
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.model import Profile
from emberbed_fw import run_states as rs
from emberbed_fw.units import FULL_POWER_Q15
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from tests.benchmarks.control.heaters import Mismatch, bench_of, heat_of
from tests.benchmarks.control.jobs import FEASIBLE, profile_of, timeline
from tests.benchmarks.control.scores import Score, score

IDENTIFIED = Path(__file__).parent / "identified"
FULL = 1.0  # all of the power may be asked for
MOST_TIMES = 3  # as long as planned; a run that takes longer has failed


@dataclass(frozen=True)
class Course:
    """Tick by tick from the first stage on: bead in degC, parts of full power, firmware's stage."""

    reading_c: np.ndarray
    power: np.ndarray
    stage: np.ndarray
    setpoint_c: np.ndarray
    finished: bool  # the heating came to its end by itself

    @property
    def seconds(self) -> float:
        return len(self.reading_c) / 10


def heater_file(kind: str) -> HeaterFile:
    """Return what the step test has found on the nominal heater."""
    return read_heater(IDENTIFIED / f"{kind}.toml")


def compiled(
    kind: str, mismatch: Mismatch, profile: Profile, heater: HeaterFile | None = None
) -> bytes:
    """Return the plan that a PC would make, knowing the identified heater and the room."""
    heater = heater or heater_file(kind)
    device = decode_settings(bench_settings(bench_of(mismatch)))
    identified = Identified(heater, kind)
    start_c = round(4 * mismatch.room_c) / 4  # as the converter reads the board before heat
    return compile_plan(
        profile,
        device.channel_names(),
        device.ceilings_cdeg(),
        identified.gains(),
        FULL,
        guard_model=identified.guard_model(device, profile.board),
        planner=planner_for(tuple(heater.values.items()), start_c),
    )


def run_ours(
    kind: str, mismatch: Mismatch, profile: Profile, seed: int, heater: HeaterFile | None = None
) -> Course:
    """Run the firmware until heating has ended; `heater` instead of the identified file."""
    bench = bench_of(mismatch)
    settings = bench_settings(bench)
    plan = compiled(kind, mismatch, profile, heater)
    loop = ClosedLoop(settings, plan, SimulatedHeater(bench, seed, (), heat_of(kind, mismatch)))
    rows = []
    for _record in loop.run():
        machine = loop.machine
        if machine.life.state not in rs.STAGED_STATES:
            if rows:
                break
            continue
        assert machine.sequencer is not None
        rows.append(
            (
                loop.heater.beads.couples[0].bead_c,
                machine.demand_q15[0] / FULL_POWER_Q15,
                machine.sequencer.stage,
                machine.sequencer.setpoint_cdeg / 100,
            )
        )
    columns = np.array(rows, float).T
    life = loop.machine.life
    return Course(*columns, finished=life.state == rs.COOL and life.verdict == rs.FINISHED)


def score_ours(kind: str, mismatch: Mismatch, seed: int) -> Score:
    """Run the firmware through the feasible profile of a kind of emitters, and judge."""
    profile = profile_of(FEASIBLE[kind])
    course = run_ours(kind, mismatch, profile, seed)
    return score(course.reading_c, timeline(profile, mismatch.room_c))
