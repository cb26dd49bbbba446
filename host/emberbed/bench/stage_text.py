"""One stage of a plan in a person's words, and how long it still takes."""

from collections.abc import Sequence

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.records import TickRecord
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import NONE, TICKS_PER_S


def degrees(cdeg: int | None, decimals: int = 1) -> str:
    """Return a reading for a person."""
    return "no reading" if cdeg is None else f"{cdeg / 100:.{decimals}f} °C"


def nothing_heated(record: TickRecord) -> bool:
    """Tell whether the run was stopped before any heat: there is nothing that has to cool."""
    return record.verdict == rs.STOPPED and record.energy_j == 0 and record.trip == NO_TRIP


def stage_text(plan: Plan, number: int, prompts: Sequence[str] = ()) -> str:
    """Return what stage `number` (from 0) does, with its prompt where `prompts` has it."""
    if number >= len(plan.stages):  # whatever a device says must not end the record
        return "not one of the profile's stages"
    stage = plan.stages[number]
    target_c = f"{stage['target_cdeg'] / 100:g} °C"
    kind = stage["kind"]
    if kind == layout.WAIT and stage["prompt"] < len(prompts):
        return f"wait at {target_c}: {prompts[stage['prompt']]}"
    if kind == layout.HOLD:
        return f"hold {target_c} for {_minutes(_planned_ticks(plan, number))}"
    if kind == layout.RAMP:
        return f"ramp to {target_c}"
    if kind == layout.COOL:
        return f"cool below {target_c}"
    return f"{words.stage_words(kind)} at {target_c}"


def left_text(plan: Plan, record: TickRecord) -> str:
    """Return how long the running stage still takes by its plan, '' where nobody knows."""
    if record.stage == NONE or record.stage >= len(plan.stages):
        return ""
    stage = plan.stages[record.stage]
    if stage["kind"] == layout.WAIT:
        left = max(0, stage["longest_ticks"] - record.stage_elapsed)
        return f"answer within {_minutes(left)}"
    planned = _planned_ticks(plan, record.stage)
    return f"{_minutes(max(0, planned - record.stage_tick))} left" if planned else ""


def _planned_ticks(plan: Plan, number: int) -> int:
    stage = plan.stages[number]
    if not stage["knots"]:
        return 0
    return plan.knots[stage["first_knot"] + stage["knots"] - 1]["tick"]


def _minutes(ticks: int) -> str:
    minutes, seconds = divmod(-(-ticks // TICKS_PER_S), 60)
    return f"{minutes}:{seconds:02d} min"
