"""What comes next in a run, and when: the running stage's end, and the stages after it.

From the plan and the run's progress alone; a time is given only as far as the plan knows one. A
stage that takes as long as a person, or as the board, leaves the times after it open. Pure.
"""

from typing import NamedTuple

from emberbed.bench import going_on
from emberbed.bench.progress import ASKS_PERSON, Progress, planned_ticks
from emberbed.bench.stage_text import stage_text
from emberbed.profiles.plan_bytes import Plan
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S

MOST_STEPS = 3


class Step(NamedTuple):
    """`in_s`: seconds from now, None where nobody knows; `asks`: the person is needed there."""

    in_s: float | None
    text: str
    asks: bool


def steps_ahead(progress: Progress, prompts: list[str]) -> list[Step]:
    """Return the stages to come, the next first; none once the heating is over."""
    record = progress.newest
    if record is None or not _heating_lies_ahead(progress):
        return []
    if record.stage == NONE:
        first, left = going_on.place_of(progress)[0], 0
    else:
        first, left = record.stage + 1, _left_ticks(progress)
    steps: list[Step] = []
    for number in range(first, min(first + MOST_STEPS, len(progress.plan.stages))):
        asks = progress.plan.stages[number]["kind"] in ASKS_PERSON
        in_s = None if left is None else left / TICKS_PER_S
        steps.append(Step(in_s, stage_text(progress.plan, number, prompts), asks))
        lasts = planned_ticks(progress.plan, number)
        left = left + lasts if left is not None and lasts and not asks else None
    return steps


def line_ahead(progress: Progress) -> list[tuple[float, float]]:
    """Return (seconds from now, degrees C) of what is asked for until the person is needed."""
    record = progress.newest
    asked = None if record is None else record.asked_cdeg()
    if record is None or asked is None or not progress.staged() or progress.held:
        return []
    points = [(0.0, asked / 100)]
    begins = -record.stage_tick
    for number in range(record.stage, len(progress.plan.stages)):
        if progress.plan.stages[number]["kind"] in ASKS_PERSON or not planned_ticks(
            progress.plan, number
        ):
            break
        points += _knots(progress.plan, number, begins, record.offset_cdeg)
        begins += planned_ticks(progress.plan, number)
    return points if len(points) > 1 else []


def _knots(plan: Plan, number: int, begins: int, offset_cdeg: int) -> list[tuple[float, float]]:
    return [
        ((begins + knot["tick"]) / TICKS_PER_S, (knot["setpoint_cdeg"] + offset_cdeg) / 100)
        for knot in plan.knots_of(number)
        if begins + knot["tick"] > 0
    ]


def _heating_lies_ahead(progress: Progress) -> bool:
    record = progress.newest
    assert record is not None
    before_heat = record.state in (rs.LOADED, rs.COLD_PROOF)
    return before_heat or record.state in rs.HEATING_STATES


def _left_ticks(progress: Progress) -> int | None:
    """Return how long the running stage still takes by its plan, None where nobody knows."""
    planned = progress.planned_ticks()
    if progress.held or not planned or progress.kind() in ASKS_PERSON:
        return None
    assert progress.newest is not None
    return max(0, planned - progress.newest.stage_tick)
