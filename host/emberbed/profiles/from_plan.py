"""A profile's text from what a device did, where nobody has the profile: its stages and times.

For runs that a device made by itself. What a plan does not carry (alloy, laminate, the words of a
prompt) is said to be unknown; the text reads as any other profile.
"""

from emberbed.materials.book import UNKNOWN
from emberbed.profiles.plain_hold import head_lines, quoted
from emberbed.profiles.plan_bytes import Plan
from emberbed_fw import plan as layout
from emberbed_fw.units import TICKS_PER_MIN, TICKS_PER_S


def profile_text(plan: Plan, names: dict[int, str], title: str) -> str:
    """Return the text; `names` are the device's channel names by number."""
    roles = {
        name: layout.ROLE_NAMES[plan.header[f"role{channel}"]]
        for channel, name in names.items()
        if plan.header[f"role{channel}"] != layout.ROLE_ABSENT
    }
    lines = head_lines(title, UNKNOWN, UNKNOWN, roles)
    for number, stage in enumerate(plan.stages):
        lines += ["[[stages]]", *_stage_lines(plan, number, stage), ""]
    return "\n".join(lines)


def _stage_lines(plan: Plan, number: int, stage: dict[str, int]) -> list[str]:
    kind = stage["kind"]
    seconds = _planned_s(plan, number)
    target_c = stage["target_cdeg"] / 100
    if kind == layout.RAMP:
        knots = plan.knots_of(number)
        way_c = (knots[-1]["setpoint_cdeg"] - knots[0]["setpoint_cdeg"]) / 100
        rate = max(abs(way_c) / max(seconds, 1.0), 0.01)
        return ['kind = "ramp"', f"to_c = {target_c:g}", f"rate_c_per_s = {rate:.2g}"]
    if kind == layout.HOLD:
        return ['kind = "hold"', f"for_s = {seconds:g}", f"band_c = {stage['band_cdeg'] / 100:g}"]
    longest = f"longest_s = {stage['longest_ticks'] / TICKS_PER_S:g}"
    if kind in (layout.WAIT, layout.HOT_AIR):
        words = quoted(f"Prompt {stage['prompt'] + 1}")
        return [f'kind = "{layout.KIND_NAMES[kind].lower()}"', f"prompt = {words}", longest]
    if kind == layout.COOL:
        fastest = stage["fastest_cdeg_per_min"] / 100 * TICKS_PER_S / TICKS_PER_MIN
        return ['kind = "cool"', f"below_c = {target_c:g}", f"fastest_c_per_s = {fastest:.2g}"]
    raise ValueError("a run at constant power has no profile")


def _planned_s(plan: Plan, number: int) -> float:
    knots = plan.knots_of(number)
    return knots[-1]["tick"] / TICKS_PER_S if knots else 0.0
