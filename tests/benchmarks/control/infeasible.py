"""A profile that no controller can follow on its heater: is it said, held back, and then calm?"""

from typing import NamedTuple

import numpy as np

from emberbed.limit.feedforward import course_of
from tests.benchmarks.control.heaters import NOMINAL
from tests.benchmarks.control.jobs import INFEASIBLE, profile_of
from tests.benchmarks.control.ours import FULL, heater_file, run_ours


class HeldBack(NamedTuple):
    """How much longer was foretold and taken, and the worst overshoot beyond a hold's level."""

    foretold_s: float
    taken_s: float
    overshoot_c: float
    finished: bool


def run_infeasible(kind: str, seed: int) -> HeldBack:
    """Run the infeasible profile on the nominal heater."""
    profile = profile_of(INFEASIBLE[kind])
    plan = course_of(heater_file(kind).values, profile, NOMINAL.room_c, FULL)
    course = run_ours(kind, NOMINAL, profile, seed)
    asked_s = plan.line.begins_s[-1] - sum(plan.late_s().values())
    levels_c = np.array([span.to_cdeg / 100 for span in plan.line.spans])
    flat = np.array([span.stage.kind == "hold" for span in plan.line.spans])
    stage = course.stage.astype(int)
    beyond_c = np.where(flat[stage], course.reading_c - levels_c[stage], -np.inf)
    foretold_s = sum(plan.late_s().values())
    return HeldBack(foretold_s, course.seconds - asked_s, float(beyond_c.max()), course.finished)
