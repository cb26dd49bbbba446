"""The profiles of the control benchmark, one for each kind of emitter, and what is never feasible.

Each has a soft start, ramps to 90, 130 and 150 degC and holds. The rates are what the nominal
heater can just follow, so that the optimum needs full power for a part of the way. Some were set
anew after a first look: the ceramic one (0.25 to 0.2 degC/s) after seeing ours, halogen's final
rate and quartz's soft start after seeing the optimum only. `timeline` is what the profile
asks for if nothing waits.
"""

from dataclasses import dataclass

import numpy as np

from emberbed.profiles.model import Hold, Profile, Ramp
from emberbed.profiles.reader import parse_profile
from tests.benchmarks.control.heaters import SENSOR, TICKS_PER_S

Stages = tuple[tuple[str, float, float], ...]  # ramp, to degC, degC/s; or hold, s, 0


def _stages(soft: float, rate: float, hold_s: float) -> Stages:
    return (
        ("ramp", 45.0, soft),
        ("ramp", 90.0, rate),
        ("hold", hold_s, 0.0),
        ("ramp", 130.0, rate),
        ("hold", hold_s, 0.0),
        ("ramp", 150.0, rate),
        ("hold", hold_s, 0.0),
    )


FEASIBLE = {
    "halogen": _stages(0.33, 1.0, 90.0),
    "quartz": _stages(0.2, 0.6, 90.0),
    "ceramic": _stages(0.05, 0.2, 120.0),
}
INFEASIBLE = {
    "halogen": _stages(2.0, 3.0, 90.0),
    "quartz": _stages(1.0, 2.0, 90.0),
    "ceramic": _stages(0.5, 1.0, 120.0),
}


def profile_of(stages: Stages) -> Profile:
    """Return the stages as a profile of one sensor, cooling by itself."""
    lines = ['name = "Control benchmark"', 'alloy = "unknown"', 'laminate = "unknown"']
    lines += ["[sensors]", f'{SENSOR} = "control"']
    for kind, first, second in stages:
        lines += ["[[stages]]", f'kind = "{kind}"']
        lines += [f"to_c = {first}", f"rate_c_per_s = {second}"] if kind == "ramp" else [
            f"for_s = {first}"
        ]  # fmt: skip
        lines += ["longest_s = 3000"]
    lines += ["[[stages]]", 'kind = "cool"', "below_c = 40", "fastest_c_per_s = 2", 'fan = "never"']
    return parse_profile("\n".join([*lines, ""]).encode(), "Control benchmark").model


@dataclass(frozen=True)
class Timeline:
    """Tick by tick, the first after the start: setpoint in degC, and which hold (0 = none)."""

    setpoint_c: np.ndarray
    hold: np.ndarray

    @property
    def seconds(self) -> np.ndarray:
        return np.arange(1, len(self.setpoint_c) + 1) / TICKS_PER_S


def timeline(profile: Profile, start_c: float) -> Timeline:
    """Return what is asked for when the first ramp begins at `start_c`."""
    pieces, holds, level_c, count = [], [], start_c, 0
    for stage in profile.stages:
        if isinstance(stage, Ramp):
            ticks = round(abs(stage.to_c - level_c) / stage.rate_c_per_s * TICKS_PER_S)
            pieces.append(level_c + (stage.to_c - level_c) * np.arange(1, ticks + 1) / ticks)
            holds.append(np.zeros(ticks, int))
            level_c = stage.to_c
        elif isinstance(stage, Hold):
            count += 1
            ticks = round(stage.for_s * TICKS_PER_S)
            pieces.append(np.full(ticks, level_c))
            holds.append(np.full(ticks, count))
    return Timeline(np.concatenate(pieces), np.concatenate(holds))
