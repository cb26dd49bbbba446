"""The power for the stages after a wait, planned anew from how warm the heater is by then.

The same optimum as before heat (feedforward.py), but it begins at the warmth of now and follows the
plan's own setpoints, which stay; its power is read at the plan's own knots. The integral of the
device's controller holds the board in the wait with what the plan did not foresee, and goes on with
that: so what is added to the plan's power there is only what changes from it.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from emberbed.heater.heat_model import Warmth
from emberbed.limit.feedforward import OVERSHOOT_C, best_above, least_power
from emberbed.limit.identified_heater import IdentifiedHeater
from emberbed.limit.optimum import Wanted
from emberbed.limit.timeline import step_of
from emberbed.profiles.plan_bytes import Plan
from emberbed_fw import plan as layout
from emberbed_fw.units import FULL_POWER_Q15, TICKS_PER_S

ASKS = (layout.WAIT, layout.HOT_AIR)


def stages_ahead(plan: Plan, stage: int) -> range:
    """Return the stages from the next one on that need nobody, up to one that does or the last."""
    last = len(plan.stages) - 1
    asks = (n for n in range(stage + 1, last) if plan.stages[n]["kind"] in ASKS)
    return range(stage + 1, next(asks, last))


def powers_anew(
    values: Mapping[str, float],
    room_c: float,
    warmth: Warmth,
    lack: float,
    plan: Plan,
    stage: int,
    holding: float,
    powers_q15: Sequence[int],
) -> list[int]:
    """Return the powers of zone 0 at all knots of the plan, those of `stages_ahead` anew.

    `lack`: power that the model needs beyond what is driven; `holding`: the mean demand of now, in
    parts of full; `powers_q15`: what the device has. Pure; takes a second, on a long way three.
    """
    ahead = stages_ahead(plan, stage)
    knots_s, levels_c, most_c, rows = [], [], [], []
    begins_s = 0.0
    for number in ahead:
        row = plan.stages[number]
        bound_c = row["target_cdeg"] / 100 + OVERSHOOT_C
        for at, knot in enumerate(plan.knots_of(number)):
            knots_s.append(begins_s + knot["tick"] / TICKS_PER_S)
            levels_c.append(knot["setpoint_cdeg"] / 100)
            most_c.append(np.inf if row["kind"] == layout.RAMP else bound_c)
            rows.append(row["first_knot"] + at)
        begins_s = knots_s[-1]
    step_s = step_of(begins_s)
    steps = int(begins_s / step_s)
    if not steps:
        return list(powers_q15)
    ends_s = step_s * np.arange(1, steps + 1)
    following = np.searchsorted(knots_s, ends_s).clip(max=len(rows) - 1)
    asked = Wanted(step_s, np.interp(ends_s, knots_s, levels_c), np.array(most_c)[following])
    heater = IdentifiedHeater(values, room_c, step_s)
    least = least_power([plan.stages[number]["target_cdeg"] for number in ahead])
    cap = plan.header["cap0_q15"] / FULL_POWER_Q15
    best = best_above(heater.beginning(warmth), asked, cap, least)
    wait_q15 = powers_q15[plan.stages[stage]["first_knot"]]
    changes = np.interp(knots_s, ends_s - step_s / 2, best.power) - lack - holding
    anew = list(powers_q15)
    for row, change in zip(rows, changes, strict=True):
        q15 = wait_q15 + round(float(change) * FULL_POWER_Q15)
        anew[row] = min(max(q15, 0), plan.header["cap0_q15"])
    return anew
