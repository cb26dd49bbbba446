"""One stage of a plan in a person's words, and how long it still takes."""

from collections.abc import Sequence

from emberbed import words
from emberbed.bench.progress import ASKS_PERSON, Progress, planned_ticks
from emberbed.profiles.plan_bytes import Plan
from emberbed.records import TickRecord
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import FULL_POWER_Q15, TICKS_PER_S


def degrees(cdeg: int | None, decimals: int = 1) -> str:
    """Return a reading for a person."""
    return "no reading" if cdeg is None else f"{cdeg / 100:.{decimals}f} °C"


def nothing_heated(record: TickRecord) -> bool:
    """Tell whether the run was stopped before any heat, with a board that has not to cool: one
    that goes on after a trip begins with a hot one."""
    if record.verdict != rs.STOPPED or record.energy_j or record.trip != NO_TRIP:
        return False
    return all((cdeg or 0) < HANDLING_CDEG for cdeg in record.channels_cdeg())


def stage_text(plan: Plan, number: int, prompts: Sequence[str] = ()) -> str:
    """Return what stage `number` (from 0) does, with its prompt where `prompts` has it."""
    if number >= len(plan.stages):  # whatever a device says must not end the record
        return "not one of the profile's stages"
    stage = plan.stages[number]
    target_c = f"{stage['target_cdeg'] / 100:g} °C"
    kind = stage["kind"]
    if kind in ASKS_PERSON and stage["prompt"] < len(prompts):
        return f"{words.stage_words(kind)} at {target_c}: {prompts[stage['prompt']]}"
    if kind == layout.HOLD:
        return f"hold {target_c} for {minutes(planned_ticks(plan, number))}"
    if kind == layout.RAMP:
        return f"ramp to {target_c}"
    if kind == layout.COOL:
        return f"cool below {target_c}"
    if kind == layout.POWER:
        return _power_text(stage["power_q15"], target_c, minutes(planned_ticks(plan, number)))
    return f"{words.stage_words(kind)} at {target_c}"


def _power_text(power_q15: int, limit_c: str, lasts: str) -> str:
    """Return what a stage of fixed power does: its target is where it ends early."""
    if not power_q15:
        return f"heater off for {lasts}"
    return f"{100 * power_q15 / FULL_POWER_Q15:.0f} % power for {lasts}, up to {limit_c}"


def doing_text(progress: Progress) -> str:
    """Return what the running stage does just now, and how long that still takes if it is known."""
    record, row = progress.newest, progress.stage_row()
    if record is None or row is None:
        return ""
    if progress.held:
        held = degrees(record.asked_cdeg())
        return f"held here at {held}"
    doing = stage_text(progress.plan, record.stage)
    if progress.air_on():
        doing = f"hot air is on, {degrees(row['target_cdeg'], 0)} from below"
    left = left_text(progress)
    return doing + (f"   {left}" if left else "")


def left_text(progress: Progress) -> str:
    """Return how long the running stage still takes by its plan, '' where nobody knows."""
    record, row = progress.newest, progress.stage_row()
    if record is None or row is None or progress.held:
        return ""
    if row["kind"] in ASKS_PERSON and not progress.air_on():
        longest = row["answer_ticks"] if row["kind"] == layout.HOT_AIR else row["longest_ticks"]
        left = longest + progress.extra_ticks - record.stage_elapsed
        return f"answer within {minutes(max(0, left))}"
    air_left = progress.air_left_ticks()
    if air_left is not None:
        return f"{minutes(max(0, air_left))} left"
    planned = progress.planned_ticks()
    return f"{minutes(max(0, planned - record.stage_tick))} left" if planned else ""


def minutes(ticks: int) -> str:
    """Return a time in minutes and seconds, a begun second counted whole."""
    whole, seconds = divmod(-(-ticks // TICKS_PER_S), 60)
    return f"{whole}:{seconds:02d} min"
