"""`python -m tests.benchmarks.control.waits`: the ramp after a wait, however long that was.

Side by side in one run, on the same heaters and noise: power planned as if the wait ended when it
is drawn to end (so that emitters are heated in it for the ramp after it), power planned up to the
wait and from it on, and that planned anew while the wait lasts. The ramp and the first minute of
its hold against the plan's own setpoints, from the wait's end on as if nothing waited.
"""

import argparse
from array import array
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

import numpy as np

from emberbed.bench.plan_anew import FIRST_TICKS
from emberbed.limit.anew import powers_anew
from emberbed.limit.feedforward import planner_for
from emberbed.limit.timeline import Timeline
from emberbed.limit.warmth import WarmthNow
from emberbed.profiles.model import Profile
from emberbed.profiles.plan_bytes import Plan, decode_plan
from emberbed.profiles.reader import parse_profile
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.units import FULL_POWER_Q15
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.operator import Operator
from emberbed_sim.plant.heater import SimulatedHeater
from tests.benchmarks.control.heaters import (
    DRAWN_SEED,
    EMITTERS,
    NOMINAL,
    SENSOR,
    TICKS_PER_S,
    Mismatch,
    bench_of,
    drawn,
    heat_of,
)
from tests.benchmarks.control.ours import compiled, heater_file

WAITS_S = (0.2, 60.0, 300.0)  # of which one is drawn, and planned before heat
RATES = {"halogen": 1.0, "quartz": 0.6, "ceramic": 0.2}
THROUGH, UP_TO, ANEW = "planned through the wait", "planned up to it", "and anew in it"
AFTER_S = 60  # of the hold
SEED = 1
MISMATCHED = 2  # heaters beside the nominal one
HEAD = """## The ramp after a wait

From 90 to 150 °C after a wait for a person that ends at once, after the minute with which it is
drawn, or after five. Error against the plan's own setpoints in the ramp and the first minute of its
hold, as if nothing waited: RMSE and overshoot in °C, of the nominal heater, and the worst with two
mismatched ones. `python -m tests.benchmarks.control.waits` makes this table alone.
"""
FOOT = """*Planned through the wait* knows when it ends: right only then. *Planned up to it* is what
a plan has: nothing is done in the wait for what follows it. *And anew in it* is `emberbed run
--plan-anew`: power for the same setpoints from how warm the heater is after 30 s of the wait, and
each time that it has doubled. It is off unless asked for, as it follows hardly better.
"""


class Ramp(NamedTuple):
    """How well it was followed, and how far the hold after it was passed, in degC."""

    rmse_c: float
    worst_c: float
    overshoot_c: float


def profile_of(kind: str) -> Profile:
    """Return two ramps with a hold and a wait between them."""
    lines = ['name = "Wait benchmark"', 'alloy = "unknown"', 'laminate = "unknown"']
    lines += ["[sensors]", f'{SENSOR} = "control"']
    for stage in (
        f'kind = "ramp"\nto_c = 90\nrate_c_per_s = {RATES[kind]}',
        'kind = "hold"\nfor_s = 90',
        'kind = "wait"\nprompt = "Flux on"',
        f'kind = "ramp"\nto_c = 150\nrate_c_per_s = {RATES[kind]}',
        'kind = "hold"\nfor_s = 90',
    ):
        lines += ["[[stages]]", stage, "longest_s = 3000"]
    lines += ["[[stages]]", 'kind = "cool"', "below_c = 40", "fastest_c_per_s = 2", 'fan = "never"']
    return parse_profile("\n".join([*lines, ""]).encode(), "Wait benchmark").model


@contextmanager
def _foresight(wanted: bool) -> Iterator[None]:
    """Let the optimum look beyond a wait, as if its end were known."""
    before = Timeline.pieces
    planner_for.cache_clear()
    if wanted:
        Timeline.pieces = lambda self: [slice(0, self.steps)]
    try:
        yield
    finally:
        Timeline.pieces = before
        planner_for.cache_clear()


def run_ramp(kind: str, mismatch: Mismatch, wait_s: float, way: str) -> Ramp:
    """Run the firmware through the profile; `way`: how its power is planned."""
    with _foresight(way == THROUGH):
        packed = compiled(kind, mismatch, profile_of(kind))
    plan, bench = decode_plan(packed), bench_of(mismatch)
    heater = SimulatedHeater(bench, SEED, (), heat_of(kind, mismatch))
    loop = ClosedLoop(bench_settings(bench), packed, heater, Operator(answers_after_s=wait_s))
    values = heater_file(kind).values
    now: WarmthNow | None = None
    driven, demands = [], []
    powers = [knot["feedforward0_q15"] for knot in plan.knots]
    next_ticks, rows = FIRST_TICKS, []
    for _record in loop.run():
        machine = loop.machine
        if machine.life.state not in rs.HEATING_STATES:
            if rows:
                break
            continue
        assert machine.plan is not None and machine.sequencer is not None
        board_c = machine.readings.cdeg[0] / 100
        now = now or WarmthNow(values, board_c)
        driven.append(machine.driven_zones & 1)
        if len(driven) == TICKS_PER_S:
            now.step(float(np.mean(driven)), board_c)
            driven = []
        demands.append(machine.demand_q15[0] / FULL_POWER_Q15)
        stage, row = machine.sequencer.stage, machine.sequencer
        waits = machine.life.state == rs.WAIT and row.kind() == layout.WAIT
        if way == ANEW and waits and row.stage_elapsed >= next_ticks:
            next_ticks = 2 * row.stage_elapsed
            holding = float(np.mean(demands[-FIRST_TICKS:]))
            known = (values, now.room_c, now.warmth, now.lack, plan, stage, holding, powers)
            powers = powers_anew(*known)
            machine.plan.feedforward_q15[0] = array("H", powers)  # as FEEDFORWARD leaves it
        if machine.life.state in rs.STAGED_STATES:
            rows.append((loop.heater.beads.couples[0].bead_c, stage))
    return _followed(plan, np.array(rows))


def _followed(plan: Plan, rows: np.ndarray) -> Ramp:
    last = max(n for n, row in enumerate(plan.stages) if row["kind"] == layout.RAMP)
    ramp, hold = plan.knots_of(last), plan.knots_of(last + 1)
    begins = ramp[-1]["tick"]
    ticks = [knot["tick"] for knot in ramp] + [begins + knot["tick"] for knot in hold[1:]]
    levels_c = [knot["setpoint_cdeg"] / 100 for knot in [*ramp, *hold[1:]]]
    bead_c = rows[rows[:, 1] >= last, 0][: begins + AFTER_S * TICKS_PER_S]
    error_c = bead_c - np.interp(np.arange(1, len(bead_c) + 1), ticks, levels_c)
    target_c = plan.stages[last]["target_cdeg"] / 100
    beyond_c = rows[rows[:, 1] == last + 1, 0].max() - target_c
    return Ramp(float(np.sqrt(np.mean(error_c**2))), float(np.abs(error_c).max()), float(beyond_c))


def section(kinds: tuple[str, ...], mismatched: int = MISMATCHED) -> str:
    """Return the comparison as a section of the page."""
    return f"\n{HEAD}\n{table(kinds, mismatched)}\n{FOOT}"


def table(kinds: tuple[str, ...], mismatched: int) -> str:
    """Return the comparison as Markdown: the nominal heater, and the worst of all."""
    ways = (THROUGH, UP_TO, ANEW)
    lines = ["| emitters | wait | " + " | ".join(f"{way}: RMSE, overshoot °C" for way in ways)]
    lines[0] += " |"
    lines += ["| --- | --- |" + " --- |" * len(ways)]
    for kind in kinds:
        for wait_s in WAITS_S:
            cells = []
            for way in ways:
                found = [
                    run_ramp(kind, one, wait_s, way)
                    for one in (NOMINAL, *drawn(mismatched, DRAWN_SEED))
                ]
                worst = max(one.rmse_c for one in found), max(one.overshoot_c for one in found)
                cells.append(
                    f"{found[0].rmse_c:.2f}, {found[0].overshoot_c:+.1f}"
                    f" (worst {worst[0]:.2f}, {worst[1]:+.1f})"
                )
            lines.append(f"| {kind} | {wait_s:.0f} s | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--mismatched", type=int, default=MISMATCHED)
    asked.add_argument("--kind", choices=EMITTERS)
    given = asked.parse_args()
    print(section((given.kind,) if given.kind else EMITTERS, given.mismatched))


if __name__ == "__main__":
    main()
