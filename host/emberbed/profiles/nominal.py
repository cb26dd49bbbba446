"""The curve of a plan if nothing waits, for pictures and for planning the bench time.

Waits for the operator and hot air are drawn with WAIT_SHOWN_S, the cooling at the fastest rate the
plan allows: a real board cools more slowly the nearer it comes to the room.
"""

from emberbed.profiles.plan_bytes import Plan
from emberbed_fw.plan import COOL, HOT_AIR, WAIT
from emberbed_fw.units import TICKS_PER_S

WAIT_SHOWN_S = 60.0

Point = tuple[float, float, int]  # seconds from the start, setpoint in degrees C, stage from 0


def nominal_curve(plan: Plan) -> list[Point]:
    """Return (seconds, setpoint_c, stage) at every corner of the curve, stages counted from 0."""
    points: list[Point] = []
    start_s, level_cdeg = 0.0, 0
    for number in range(len(plan.stages)):
        corners = _corners(plan, number, level_cdeg)
        points += [(start_s + after_s, cdeg / 100, number) for after_s, cdeg in corners]
        start_s += corners[-1][0]
        level_cdeg = corners[-1][1]
    return points


def _corners(plan: Plan, number: int, level_cdeg: int) -> list[tuple[float, int]]:
    """Return (seconds within the stage, setpoint in hundredths of a degree C)."""
    stage = plan.stages[number]
    if stage["kind"] == COOL:
        fall = max(level_cdeg - stage["target_cdeg"], 0)
        return [(0.0, level_cdeg), (fall / stage["fastest_cdeg_per_min"] * 60, level_cdeg - fall)]
    if stage["kind"] in (WAIT, HOT_AIR):
        return [(0.0, stage["target_cdeg"]), (WAIT_SHOWN_S, stage["target_cdeg"])]
    return [(knot["tick"] / TICKS_PER_S, knot["setpoint_cdeg"]) for knot in plan.knots_of(number)]
