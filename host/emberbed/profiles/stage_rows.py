"""The rows of a plan that make up its stages: fields by the names of `emberbed_fw.plan`, and knots.

Knots are placed so close that the tick's interpolation stays a small int. Prompts are numbered in
the order of the stages that ask; power is capped from the stage on that plugs in a hot-air tool.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from emberbed.profiles.marks import packed_marks
from emberbed.profiles.model import Cool, Hold, HotAir, Power, Profile, Ramp, Wait
from emberbed.profiles.plan_bytes import Row
from emberbed.profiles.timing import Span, to_cdeg, to_ticks
from emberbed.profiles.tool_power import Socket, caps_q15
from emberbed_fw import plan as layout
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.units import FULL_POWER_Q15, NONE

_KIND_CODE = {
    Ramp: layout.RAMP,
    Hold: layout.HOLD,
    Wait: layout.WAIT,
    HotAir: layout.HOT_AIR,
    Cool: layout.COOL,
    Power: layout.POWER,
}


class Knot(NamedTuple):
    """Tick within the stage, setpoint in hundredths of a degree C, power that leads to it."""

    tick: int
    setpoint_cdeg: int
    feedforward0_q15: int = 0


def stages_and_knots(
    profile: Profile,
    stage_spans: Sequence[Span],
    channels: Mapping[str, int],
    socket: Socket,
    courses: Mapping[int, Sequence[Knot]],
) -> tuple[list[Row], list[Row]]:
    """Return the rows of all stages and of all knots; `channels` by the sensors' names, `courses`
    by the stages' numbers where they are planned for a heater."""
    stages: list[Row] = []
    knots: list[Row] = []
    asked = 0
    for span, cap_q15 in zip(stage_spans, caps_q15(profile, socket), strict=True):
        own = courses.get(span.index) or _knots(span)
        prompt = NONE
        if isinstance(span.stage, (Wait, HotAir)):
            prompt, asked = asked, asked + 1
        stages.append(
            {
                "kind": _KIND_CODE[type(span.stage)],
                "prompt": prompt,
                "marks": packed_marks(span.stage),
                "target_cdeg": span.to_cdeg,
                "cap_q15": cap_q15,
                "answer_ticks": span.answer_ticks,
                "longest_ticks": span.longest_ticks,
                "first_knot": len(knots),
                "knots": len(own),
                **_stage_fields(span, channels),
            }
        )
        knots += [knot._asdict() for knot in own]
    return stages, knots


def _stage_fields(span: Span, channels: Mapping[str, int]) -> dict[str, int]:
    stage = span.stage
    if isinstance(stage, Cool):
        return {"fastest_cdeg_per_min": round(stage.fastest_c_per_s * 100 * 60)}
    if isinstance(stage, Power):
        whole = 0 if stage.zone is not None else stage.percent  # a zone's own: profiles/zones
        return {"power_q15": round(whole / 100 * FULL_POWER_Q15)}
    if isinstance(stage, (Wait, HotAir)):
        return {"remind_ticks": to_ticks(stage.remind_s)}
    fields = {"band_cdeg": to_cdeg(stage.band_c), "spread_cdeg": to_cdeg(stage.spread_c)}
    if isinstance(stage, Hold):
        needed = {channels[name] for name in stage.needs}
        return {**fields, "needed_channels": sum(1 << channel for channel in needed)}
    return {**fields, "hold_back_cdeg": to_cdeg(stage.hold_back_c)}


def _knots(span: Span) -> list[Knot]:
    if isinstance(span.stage, Ramp):
        return _ramp_knots(span.from_cdeg, span.to_cdeg, span.planned_ticks)
    if isinstance(span.stage, (Hold, Power)):
        return [Knot(0, span.to_cdeg), Knot(span.planned_ticks, span.to_cdeg)]
    return [] if isinstance(span.stage, Cool) else [Knot(0, span.to_cdeg)]


def _ramp_knots(from_cdeg: int, to_cdeg: int, ticks: int) -> list[Knot]:
    """Return knots on the line, so many that the tick's interpolation stays a small int."""
    pieces = 1
    while True:
        knots = [
            Knot(ticks * n // pieces, from_cdeg + round((to_cdeg - from_cdeg) * n / pieces))
            for n in range(pieces + 1)
        ]
        if all(_fits(knots[n], knots[n + 1]) for n in range(pieces)):
            return knots
        pieces += 1


def _fits(knot: Knot, following: Knot) -> bool:
    # half of the small ints: the rounded division of the tick adds half a divisor (plan_check)
    rise = abs(following.setpoint_cdeg - knot.setpoint_cdeg)
    return rise * (following.tick - knot.tick) <= SMALL_INT_MAX // 2
