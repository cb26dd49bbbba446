"""A profile that no controller can follow on its heater: is it said, held back, and then calm?"""

from typing import NamedTuple

import numpy as np

from emberbed.bench.with_heater import later_s
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.timing import spans
from tests.benchmarks.control.heaters import NOMINAL, TICKS_PER_S
from tests.benchmarks.control.jobs import INFEASIBLE, profile_of, timeline
from tests.benchmarks.control.ours import compiled, run_ours


class HeldBack(NamedTuple):
    """How much longer was foretold and taken, and the worst overshoot beyond a hold's level."""

    foretold_s: float
    taken_s: float
    overshoot_c: float
    finished: bool


def run_infeasible(kind: str, seed: int) -> HeldBack:
    """Run the infeasible profile on the nominal heater."""
    profile = profile_of(INFEASIBLE[kind])
    foretold_s = sum(later_s(profile, decode_plan(compiled(kind, NOMINAL, profile))).values())
    course = run_ours(kind, NOMINAL, profile, seed)
    asked_s = len(timeline(profile, NOMINAL.room_c).setpoint_c) / TICKS_PER_S
    levels_c = np.array([span.to_cdeg / 100 for span in spans(profile)])
    flat = np.array([span.stage.kind == "hold" for span in spans(profile)])
    stage = course.stage.astype(int)
    beyond_c = np.where(flat[stage], course.reading_c - levels_c[stage], -np.inf)
    return HeldBack(foretold_s, course.seconds - asked_s, float(beyond_c.max()), course.finished)
