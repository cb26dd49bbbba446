"""Compile a profile into the plan the device runs.

`compile_plan` resolves sensor names to channels, stages to knots and settings to the integers of
`emberbed_fw.plan`; it raises PlanRefused, one sentence, for what cannot be a plan on this device.
The knots of each stage are made in `stage_rows`.
"""

from collections.abc import Mapping, Sequence

from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed.materials.book import find_alloy
from emberbed.profiles.bounds import (
    air_limit_cdeg,
    limit_cdeg,
    most_setpoint_cdeg,
    pause_cdeg,
    solid_below_c,
)
from emberbed.profiles.channels import channel_mistakes
from emberbed.profiles.guard_model import GuardModel, guess
from emberbed.profiles.limits import CEILING_ROOM
from emberbed.profiles.model import HotAir, Profile, Wait
from emberbed.profiles.plan_bytes import Plan, PlanRefused, decode_plan, pack_plan
from emberbed.profiles.planned import Planned, Planner
from emberbed.profiles.stage_rows import stages_and_knots
from emberbed.profiles.timing import impossible, longest_run_ticks, peak_cdeg, spans, to_cdeg
from emberbed.profiles.tool_power import Socket, no_watts_left
from emberbed.profiles.zones import Steering, Zones, share_out
from emberbed.refusal_words import refusal_words
from emberbed_fw import plan as layout
from emberbed_fw.messages import BAD_PLAN
from emberbed_fw.plan_check import find_fault
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, NONE, ZONES

__all__ = ["Plan", "PlanRefused", "compile_plan", "decode_plan", "pack_plan", "prompts"]

WEIGHT_ONE_Q8 = 256
FAN_CODE = {
    "when_solid": layout.FAN_WHEN_SOLID,
    "on_press": layout.FAN_ON_PRESS,
    "never": layout.FAN_NEVER,
}
_ONE_ZONE = Zones((1,))  # of any watts: the plan's fault check asks whether a zone is fitted


class _Device:
    """What the firmware's own plan check asks of its settings."""

    def __init__(
        self, channel_names: Sequence[str], ceilings_cdeg: Sequence[int], zones: Zones
    ) -> None:
        self._names = channel_names
        self.ceiling_cdeg = ceilings_cdeg
        self.watts = [*zones.watts, *[0] * (ZONES - len(zones.watts))]
        self.socket_watts = [zones.socket_w]

    def couple_fitted(self, channel: int) -> bool:
        return bool(self._names[channel])


def compile_plan(
    profile: Profile,
    channel_names: Sequence[str],
    ceilings_cdeg: Sequence[int],
    gains: Gains | None = None,
    power_cap: float = POWER_CAP,
    socket_w: int = 0,
    zone_w: int = 0,
    guard_model: GuardModel | None = None,
    planner: Planner | None = None,
    zones: Zones = _ONE_ZONE,
) -> bytes:
    """Return the plan's bytes; channels of the device by name and highest allowed reading.

    socket_w: what the heater's socket gives, 0 = not known; zone_w: the heater at full power.
    guard_model: what the guard knows of the heater, None for a guess from its watts.
    planner: plans setpoints and power for a heater that is known; None: straight ramps, no power.
    zones: of a heater that has several; zone_w is the watts of all of them.
    """
    power_cap = zones.power_cap(profile, power_cap)
    socket = Socket(socket_w, zone_w, power_cap)
    unfit = channel_mistakes(profile, channel_names, ceilings_cdeg)
    unable = zones.mistakes(profile)
    left = no_watts_left(profile, socket)
    for _location, sentence in (*impossible(profile), *unfit, *unable, *left):
        raise PlanRefused(sentence)
    channels = {name: list(channel_names).index(name) for name in profile.sensors}
    planned = Planned(spans(profile), {})
    if planner is not None and not profile.identifies():
        planned = planner(profile, socket)
    stage_spans = planned.spans
    stages, knots = stages_and_knots(profile, stage_spans, channels, socket, planned.courses)
    gains = gains or Gains()
    if planned.courses:
        gains = gains._replace(preview_ticks=0)  # the planned power has looked ahead
    steering = zones.steering(profile)
    if zones.several or profile.identifies():
        knots = share_out(profile, stages, knots, steering.shares)
    header = {
        "version": layout.FORMAT_VERSION,
        "stages": len(stages),
        "knots": len(knots),
        "longest_run_ticks": longest_run_ticks(stage_spans),
        "handling_cdeg": min(HANDLING_CDEG, to_cdeg(profile.ends().below_c)),
        "fan_below_cdeg": to_cdeg(solid_below_c(find_alloy(profile.alloy))),
        "fan_starts": FAN_CODE[profile.ends().fan],
        **_setpoint_fields(profile, ceilings_cdeg[channels[profile.control_sensor()]]),
        **_channel_fields(profile, channels, ceilings_cdeg),
        **_model_fields(profile, guard_model, zone_w),
        **_zone_fields(steering, channels, gains, power_cap),
    }
    packed = pack_plan(header, stages, knots)
    fault = find_fault(packed, _Device(channel_names, ceilings_cdeg, zones))
    if fault != layout.PLAN_FINE:
        raise PlanRefused(refusal_words(BAD_PLAN, fault))
    return packed


def prompts(profile: Profile) -> list[str]:
    """Return the prompts of `profile`; a prompt's id in the plan is its index here."""
    return [stage.prompt for stage in profile.stages if isinstance(stage, (Wait, HotAir))]


def _setpoint_fields(profile: Profile, control_ceiling_cdeg: int) -> dict[str, int]:
    peak = peak_cdeg(profile)
    # what the device takes away at its own ceiling must not be offered to a person
    within_device = control_ceiling_cdeg - to_cdeg(CEILING_ROOM.value)
    most = max(peak, min(most_setpoint_cdeg(profile), within_device))
    return {"peak_cdeg": peak, "most_setpoint_cdeg": most}


def _channel_fields(
    profile: Profile, channels: Mapping[str, int], ceilings_cdeg: Sequence[int]
) -> dict[str, int]:
    fields = {f"partner{channel}": NONE for channel in range(CHANNELS)}
    in_jet = 0
    for name, sensor in profile.sensors.items():
        channel = channels[name]
        limit = min(ceilings_cdeg[channel], limit_cdeg(profile, sensor))
        fields[f"role{channel}"] = layout.ROLE_NAMES.index(sensor.role)
        fields[f"limit{channel}_cdeg"] = limit
        fields[f"air_limit{channel}_cdeg"] = max(
            limit, min(ceilings_cdeg[channel], air_limit_cdeg(profile, sensor))
        )
        fields[f"pause{channel}_cdeg"] = pause_cdeg(sensor, limit)
        if sensor.partner is not None:
            fields[f"partner{channel}"] = channels[sensor.partner]
        in_jet |= sensor.in_jet << channel
    return {**fields, "in_jet_channels": in_jet}


def _model_fields(profile: Profile, model: GuardModel | None, zone_w: int) -> dict[str, int]:
    """Return what the guard models heater and board by; nothing where not even watts are known."""
    if model is None and zone_w == 0:
        return {}
    return (model or guess(zone_w, profile.board)).fields(profile.board)


def _zone_fields(
    steering: Steering, channels: Mapping[str, int], gains: Gains, power_cap: float
) -> dict[str, int]:
    """Return the fields of all zones: each has its share of gains and power; others are off."""
    fields = {f"control{zone}": NONE for zone in range(ZONES)}
    for zone, (sensor, share) in enumerate(zip(steering.sensors, steering.shares, strict=True)):
        own = gains._replace(
            kp_per_k=share * gains.kp_per_k,
            ki_per_k_s=share * gains.ki_per_k_s,
            kd_s_per_k=share * gains.kd_s_per_k,
        )
        fields[f"control{zone}"] = channels[sensor]
        fields |= _gain_fields(zone, own, share * power_cap)
    return fields


def _gain_fields(zone: int, gains: Gains, power_cap: float) -> dict[str, int]:
    fields = {}
    bounded = (
        (f"cap{zone}_q15", round(power_cap * FULL_POWER_Q15), FULL_POWER_Q15, "power cap"),
        (f"kp{zone}_q8", gains.kp_q8(), layout.MAX_KP_Q8, "gain Kp"),
        (f"ki{zone}_q14", gains.ki_q14(), layout.MAX_KI_Q14, "gain Ki"),
        (f"kd{zone}_q4", gains.kd_q4(), layout.MAX_KD_Q4, "gain Kd"),
        (
            f"weight{zone}_q8",
            round(gains.setpoint_weight * WEIGHT_ONE_Q8),
            layout.MAX_WEIGHT_Q8,
            "setpoint weight",
        ),
        (f"filter{zone}_shift", gains.filter_shift, layout.MAX_FILTER_SHIFT, "derivative filter"),
        (f"preview{zone}_ticks", gains.preview_ticks, layout.MAX_PREVIEW_TICKS, "preview"),
    )
    for field, number, most, what in bounded:
        if not 0 <= number <= most:
            raise PlanRefused(f"the {what} is outside what the device takes; tune the heater again")
        fields[field] = number
    return fields
