"""The rows of a plan that make up its stages: fields by the names of `emberbed_fw.plan`, and knots.

Knots are placed so close that the tick's interpolation stays a small int. Prompts are numbered in
the order of the stages that ask; power is capped from the stage on that plugs in a hot-air tool.
"""

from collections.abc import Mapping, Sequence

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
_Knot = tuple[int, int]  # tick within the stage, setpoint in hundredths of a degree C


def stages_and_knots(
    profile: Profile, stage_spans: Sequence[Span], channels: Mapping[str, int], socket: Socket
) -> tuple[list[Row], list[Row]]:
    """Return the rows of all stages and of all knots; `channels` by the sensors' names."""
    stages: list[Row] = []
    knots: list[Row] = []
    asked = 0
    for span, cap_q15 in zip(stage_spans, caps_q15(profile, socket), strict=True):
        own = _knots(span)
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
        knots += [{"tick": tick, "setpoint_cdeg": setpoint} for tick, setpoint in own]
    return stages, knots


def _stage_fields(span: Span, channels: Mapping[str, int]) -> dict[str, int]:
    stage = span.stage
    if isinstance(stage, Cool):
        return {"fastest_cdeg_per_min": round(stage.fastest_c_per_s * 100 * 60)}
    if isinstance(stage, Power):
        return {"power_q15": round(stage.percent / 100 * FULL_POWER_Q15)}
    if isinstance(stage, (Wait, HotAir)):
        return {"remind_ticks": to_ticks(stage.remind_s)}
    fields = {"band_cdeg": to_cdeg(stage.band_c), "spread_cdeg": to_cdeg(stage.spread_c)}
    if isinstance(stage, Hold):
        needed = {channels[name] for name in stage.needs}
        return {**fields, "needed_channels": sum(1 << channel for channel in needed)}
    return {**fields, "hold_back_cdeg": to_cdeg(stage.hold_back_c)}


def _knots(span: Span) -> list[_Knot]:
    if isinstance(span.stage, Ramp):
        return _ramp_knots(span.from_cdeg, span.to_cdeg, span.planned_ticks)
    if isinstance(span.stage, (Hold, Power)):
        return [(0, span.to_cdeg), (span.planned_ticks, span.to_cdeg)]
    return [] if isinstance(span.stage, Cool) else [(0, span.to_cdeg)]


def _ramp_knots(from_cdeg: int, to_cdeg: int, ticks: int) -> list[_Knot]:
    """Return knots on the line, so many that the tick's interpolation stays a small int."""
    pieces = 1
    while True:
        knots = [
            (ticks * n // pieces, from_cdeg + round((to_cdeg - from_cdeg) * n / pieces))
            for n in range(pieces + 1)
        ]
        if all(_fits(knots[n], knots[n + 1]) for n in range(pieces)):
            return knots
        pieces += 1


def _fits(knot: _Knot, following: _Knot) -> bool:
    # half of the small ints: the rounded division of the tick adds half a divisor (plan_check)
    rise = abs(following[1] - knot[1])
    return rise * (following[0] - knot[0]) <= SMALL_INT_MAX // 2
