"""Compile a profile into the plan the device runs.

`compile_plan` resolves sensor names to channels, stages to knots and settings to the integers of
`emberbed_fw.plan`; it raises PlanRefused, one sentence, for what cannot be a plan on this device.
"""

from collections.abc import Mapping, Sequence

from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed.materials.book import find_alloy
from emberbed.profiles.channels import channel_mistakes
from emberbed.profiles.limits import (
    DEFAULT_BAND_C,
    DEFAULT_HOLD_BACK_C,
    DEFAULT_REMIND_S,
    LIMIT_ABOVE_PEAK_C,
    SOLIDUS_MARGIN,
)
from emberbed.profiles.model import Cool, Hold, Profile, Ramp, Wait
from emberbed.profiles.plan_bytes import Plan, PlanRefused, Row, decode_plan, pack_plan
from emberbed.profiles.timing import (
    Span,
    impossible,
    longest_run_ticks,
    peak_cdeg,
    spans,
    to_cdeg,
    to_ticks,
)
from emberbed.refusal_words import refusal_words
from emberbed_fw import plan as layout
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.messages import BAD_PLAN
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, NONE, ZONES

__all__ = ["Plan", "PlanRefused", "compile_plan", "decode_plan", "pack_plan", "prompts"]

WEIGHT_ONE_Q8 = 256
_KIND_CODE = {Ramp: layout.RAMP, Hold: layout.HOLD, Wait: layout.WAIT, Cool: layout.COOL}
_ANY_WATTS = 1  # the plan's fault check only asks whether a zone is fitted
_Knot = tuple[int, int]  # tick within the stage, setpoint in hundredths of a degree C


class _Device:
    """What the firmware's own plan check asks of its settings."""

    def __init__(self, channel_names: Sequence[str], ceilings_cdeg: Sequence[int]) -> None:
        self._names = channel_names
        self.ceiling_cdeg = ceilings_cdeg
        self.watts = [_ANY_WATTS] + [0] * (ZONES - 1)

    def channel_fitted(self, channel: int) -> bool:
        return bool(self._names[channel])


def compile_plan(
    profile: Profile,
    channel_names: Sequence[str],
    ceilings_cdeg: Sequence[int],
    gains: Gains | None = None,
    power_cap: float = POWER_CAP,
) -> bytes:
    """Return the plan's bytes; channels of the device by name and highest allowed reading."""
    unfit = channel_mistakes(profile, channel_names, ceilings_cdeg)
    for _location, sentence in (*impossible(profile), *unfit):
        raise PlanRefused(sentence)
    channels = {name: list(channel_names).index(name) for name in profile.sensors}
    stage_spans = spans(profile)
    stages, knots = _stages_and_knots(stage_spans)
    header = {
        "version": layout.FORMAT_VERSION,
        "stages": len(stages),
        "knots": len(knots),
        "peak_cdeg": peak_cdeg(profile),
        "longest_run_ticks": longest_run_ticks(stage_spans),
        "handling_cdeg": min(HANDLING_CDEG, to_cdeg(profile.ends_below_c())),
        "fan_below_cdeg": to_cdeg(find_alloy(profile.alloy).solidus_c - SOLIDUS_MARGIN.value),
        **_channel_fields(profile, channels, ceilings_cdeg),
        **_zone_fields(channels[profile.control_sensor()], gains or Gains(), power_cap),
    }
    packed = pack_plan(header, stages, knots)
    fault = layout.find_fault(packed, _Device(channel_names, ceilings_cdeg))
    if fault != layout.PLAN_FINE:
        raise PlanRefused(refusal_words(BAD_PLAN, fault))
    return packed


def prompts(profile: Profile) -> list[str]:
    """Return the prompts of `profile`; a prompt's id in the plan is its index here."""
    return [stage.prompt for stage in profile.stages if isinstance(stage, Wait)]


def _channel_fields(
    profile: Profile, channels: Mapping[str, int], ceilings_cdeg: Sequence[int]
) -> dict[str, int]:
    tightened = peak_cdeg(profile) + to_cdeg(LIMIT_ABOVE_PEAK_C)
    fields = {f"partner{channel}": NONE for channel in range(CHANNELS)}
    for name, role in profile.sensors.items():
        channel = channels[name]
        ceiling = ceilings_cdeg[channel]
        # an emitter is hotter than any board, so only the device knows its limit
        limit = ceiling if role == "emitter" else min(ceiling, tightened)
        fields[f"role{channel}"] = layout.ROLE_NAMES.index(role)
        fields[f"limit{channel}_cdeg"] = limit
    return fields


def _zone_fields(control_channel: int, gains: Gains, power_cap: float) -> dict[str, int]:
    """Return the fields of zone 0; the other zones control nothing."""
    fields = {f"control{zone}": NONE for zone in range(1, ZONES)}
    fields["control0"] = control_channel
    bounded = (
        ("cap0_q15", round(power_cap * FULL_POWER_Q15), FULL_POWER_Q15, "power cap"),
        ("kp0_q8", gains.kp_q8(), layout.MAX_KP_Q8, "gain Kp"),
        ("ki0_q14", gains.ki_q14(), layout.MAX_KI_Q14, "gain Ki"),
        ("kd0_q4", gains.kd_q4(), layout.MAX_KD_Q4, "gain Kd"),
        (
            "weight0_q8",
            round(gains.setpoint_weight * WEIGHT_ONE_Q8),
            layout.MAX_WEIGHT_Q8,
            "setpoint weight",
        ),
        ("filter0_shift", gains.filter_shift, layout.MAX_FILTER_SHIFT, "derivative filter"),
        ("preview0_ticks", gains.preview_ticks, layout.MAX_PREVIEW_TICKS, "preview"),
    )
    for field, number, most, what in bounded:
        if not 0 <= number <= most:
            raise PlanRefused(f"the {what} is outside what the device takes; tune the heater again")
        fields[field] = number
    return fields


def _stages_and_knots(stage_spans: Sequence[Span]) -> tuple[list[Row], list[Row]]:
    stages: list[Row] = []
    knots: list[Row] = []
    asked = 0
    for span in stage_spans:
        own = _knots(span)
        prompt = NONE
        if isinstance(span.stage, Wait):
            prompt, asked = asked, asked + 1
        stages.append(
            {
                "kind": _KIND_CODE[type(span.stage)],
                "prompt": prompt,
                "target_cdeg": span.to_cdeg,
                "longest_ticks": span.longest_ticks,
                "first_knot": len(knots),
                "knots": len(own),
                **_stage_fields(span),
            }
        )
        knots += [{"tick": tick, "setpoint_cdeg": setpoint} for tick, setpoint in own]
    return stages, knots


def _stage_fields(span: Span) -> dict[str, int]:
    stage = span.stage
    if isinstance(stage, Cool):
        return {"fastest_cdeg_per_min": round(stage.fastest_c_per_s * 100 * 60)}
    if isinstance(stage, Wait):
        return {"remind_ticks": to_ticks(_or(stage.remind_s, DEFAULT_REMIND_S))}
    fields = {"band_cdeg": to_cdeg(_or(stage.band_c, DEFAULT_BAND_C))}
    if isinstance(stage, Ramp):
        fields["hold_back_cdeg"] = to_cdeg(_or(stage.hold_back_c, DEFAULT_HOLD_BACK_C))
    return fields


def _or(given: float | None, default: float) -> float:
    return default if given is None else given


def _knots(span: Span) -> list[_Knot]:
    if isinstance(span.stage, Ramp):
        return _ramp_knots(span.from_cdeg, span.to_cdeg, span.planned_ticks)
    if isinstance(span.stage, Hold):
        return [(0, span.to_cdeg), (span.planned_ticks, span.to_cdeg)]
    return [(0, span.to_cdeg)] if isinstance(span.stage, Wait) else []


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
    # half of the small ints: the rounded division of the tick adds half a divisor (plan.find_fault)
    rise = abs(following[1] - knot[1])
    return rise * (following[0] - knot[0]) <= SMALL_INT_MAX // 2
