"""Check a whole plan before it may be armed: format, limits, channels, gains, times, knots.

Takes the plan's bytes and the device's settings, gives a PLAN_* code of plan.PLAN_FAULTS. What
passes here stays inside the tick's number ranges and below the device's ceilings. Serves H01.
"""

import struct
from binascii import crc32

from emberbed_fw import safety_limits
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.plan import (
    COOL,
    FAN_NEVER,
    FORMAT_VERSION,
    HEADER_BYTES,
    HOLD,
    HOT_AIR,
    KNOT_BYTES,
    LEAST_HANDLING_CDEG,
    MAX_FILTER_SHIFT,
    MAX_KD_Q4,
    MAX_KI_Q14,
    MAX_KNOTS,
    MAX_KP_Q8,
    MAX_LONGEST_TICKS,
    MAX_PREVIEW_TICKS,
    MAX_PROMPT,
    MAX_SPREAD_CDEG,
    MAX_STAGES,
    MAX_WEIGHT_Q8,
    PLAN_CHANNEL,
    PLAN_DAMAGED,
    PLAN_EMPTY,
    PLAN_FINE,
    PLAN_GAIN,
    PLAN_KIND,
    PLAN_KNOTS,
    PLAN_LENGTH,
    PLAN_NO_COOLING,
    PLAN_TEMPERATURE,
    PLAN_TIME,
    PLAN_VERSION,
    POWER,
    RAMP,
    ROLE_ABSENT,
    ROLE_EMITTER,
    ROLE_NEIGHBOUR,
    ROLE_PAIR,
    STAGE_BYTES,
    WAIT,
    Plan,
)
from emberbed_fw.settings import is_emitter_ceiling
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, MIN_CDEG, NONE, ZONES


def find_fault(data, settings):
    """Check a whole plan against the format and the device's `settings`; return a PLAN_* code."""
    if len(data) < HEADER_BYTES + STAGE_BYTES + 4:
        return PLAN_LENGTH
    if struct.unpack_from("<I", data, len(data) - 4)[0] != crc32(memoryview(data)[:-4]):
        return PLAN_DAMAGED
    if data[0] != FORMAT_VERSION:
        return PLAN_VERSION
    stages, knots = struct.unpack_from("<BH", data, 1)
    if not 0 < stages <= MAX_STAGES or knots > MAX_KNOTS:
        return PLAN_EMPTY if stages == 0 else PLAN_LENGTH
    if len(data) != HEADER_BYTES + stages * STAGE_BYTES + knots * KNOT_BYTES + 4:
        return PLAN_LENGTH
    plan = Plan(data)
    return (_header_fault(plan.header) or _model_fault(plan.header)
            or _channel_fault(plan, settings) or _zone_fault(plan, settings)
            or _stages_fault(plan) or PLAN_FINE)


def _channel_fault(plan, settings):
    for channel in range(CHANNELS):
        role = plan.role[channel]
        if role == ROLE_ABSENT:
            continue
        if role > ROLE_PAIR or not settings.couple_fitted(channel):
            return PLAN_CHANNEL
        if is_emitter_ceiling(settings.ceiling_cdeg[channel]) != (role == ROLE_EMITTER):
            return PLAN_CHANNEL
        if not MIN_CDEG < plan.limit_cdeg[channel] <= plan.air_limit_cdeg[channel]:
            return PLAN_TEMPERATURE
        if not plan.air_limit_cdeg[channel] <= settings.ceiling_cdeg[channel]:
            return PLAN_TEMPERATURE
        fault = _role_fault(plan, role, channel)
        if fault:
            return fault
    return PLAN_FINE


def _role_fault(plan, role, channel):
    """A neighbour pauses the ramp below its own limit; a pair's partner is another sensor."""
    if role == ROLE_NEIGHBOUR and not 0 < plan.pause_cdeg[channel] < plan.limit_cdeg[channel]:
        return PLAN_TEMPERATURE
    if role == ROLE_PAIR:
        partner = plan.header["partner%d" % channel]
        if not (partner < CHANNELS and partner != channel and plan.in_use[partner]):
            return PLAN_CHANNEL
    return PLAN_FINE


def _header_fault(header):
    if not LEAST_HANDLING_CDEG <= header["handling_cdeg"] <= safety_limits.HANDLING_CDEG:
        return PLAN_TEMPERATURE
    if not MIN_CDEG < header["peak_cdeg"] <= safety_limits.HARD_CEILING_CDEG:
        return PLAN_TEMPERATURE
    if not header["peak_cdeg"] <= header["most_setpoint_cdeg"] <= safety_limits.HARD_CEILING_CDEG:
        return PLAN_TEMPERATURE
    if header["fan_starts"] > FAN_NEVER:
        return PLAN_CHANNEL
    if not 0 < header["longest_run_ticks"] <= MAX_LONGEST_TICKS:
        return PLAN_TIME
    return PLAN_FINE


def _model_fault(header):
    """The guard's own model must be whole, or not there at all."""
    if header["emitter_j_per_k"] == 0:
        return PLAN_FINE if header["model_trust"] == 0 else PLAN_GAIN
    if not 0 < header["least_capacity_j_per_k"] <= header["most_capacity_j_per_k"]:
        return PLAN_GAIN
    if not 0 < header["exchange_cm2"] <= MAX_EXCHANGE_CM2:
        return PLAN_GAIN
    if not header["around_cm2"] <= MAX_EXCHANGE_CM2 or header["emitter_j_per_k"] > MAX_EMITTER_J:
        return PLAN_GAIN
    if not header["convection_mw_per_k"] <= MAX_CONVECTION_MW:
        return PLAN_GAIN
    if not 0 < header["board_loss_mw_per_k"] <= MAX_BOARD_LOSS_MW or header["model_trust"] > 1:
        return PLAN_GAIN
    return PLAN_FINE


MAX_EXCHANGE_CM2 = 2000
MAX_EMITTER_J = 4000
MAX_CONVECTION_MW = 20000
MAX_BOARD_LOSS_MW = 10000


def _zone_fault(plan, settings):
    for zone in range(ZONES):
        channel = plan.control[zone]
        if channel == NONE:
            if zone == 0:
                return PLAN_CHANNEL  # it paces the plan
            continue
        if channel >= CHANNELS or not plan.on_board[channel] or settings.watts[zone] == 0:
            return PLAN_CHANNEL
        if zone > 0 and not _socket_bears_each(plan, settings):
            return PLAN_CHANNEL
        if plan.in_jet[channel] and _uses_hot_air(plan):
            return PLAN_CHANNEL  # a controller that sees the hot air would cut the bottom heat
        if _gain_fault(plan.header, zone):
            return PLAN_GAIN
    return PLAN_FINE


def _socket_bears_each(plan, settings):
    """Zones take turns where the socket does not bear them together: it must bear each alone."""
    for zone in range(ZONES):
        if plan.control[zone] != NONE and settings.watts[zone] > settings.socket_watts[0]:
            return False
    return True


def _uses_hot_air(plan):
    return any([plan.stage["kind"][number] == HOT_AIR for number in range(plan.stages)])


def _gain_fault(header, zone):
    if header["cap%d_q15" % zone] > FULL_POWER_Q15 or header["kp%d_q8" % zone] > MAX_KP_Q8:
        return True
    if header["ki%d_q14" % zone] > MAX_KI_Q14 or header["kd%d_q4" % zone] > MAX_KD_Q4:
        return True
    if header["preview%d_ticks" % zone] > MAX_PREVIEW_TICKS:
        return True
    weight = header["weight%d_q8" % zone]
    if weight > MAX_WEIGHT_Q8 or header["filter%d_shift" % zone] > MAX_FILTER_SHIFT:
        return True
    # a setpoint weight below one is made up for by the integral, which reaches 1.6 of full power
    withheld_cdeg = (MAX_WEIGHT_Q8 - weight) * max(header["peak_cdeg"], 0) // 256
    return withheld_cdeg * (header["kp%d_q8" % zone] // 16) // 16 > FULL_POWER_Q15


def _stages_fault(plan):
    for number in range(plan.stages):
        kind = plan.stage["kind"][number]
        if kind > POWER:
            return PLAN_KIND
        if (kind == COOL) != (number == plan.stages - 1):
            return PLAN_NO_COOLING
        if not MIN_CDEG < plan.stage["target_cdeg"][number] <= plan.header["peak_cdeg"]:
            return PLAN_TEMPERATURE
        longest = plan.stage["longest_ticks"][number]
        if longest > MAX_LONGEST_TICKS or (kind != COOL and longest == 0):
            return PLAN_TIME
        if kind != COOL and not _knots_fit(plan, number):
            return PLAN_KNOTS
        if kind in (WAIT, HOT_AIR) and plan.stage["prompt"][number] > MAX_PROMPT:
            return PLAN_KIND
        if kind == HOT_AIR and not 0 < plan.stage["answer_ticks"][number] <= MAX_LONGEST_TICKS:
            return PLAN_TIME
        if max(plan.stage["power_q15"][number], plan.stage["cap_q15"][number]) > FULL_POWER_Q15:
            return PLAN_GAIN
        if plan.stage["spread_cdeg"][number] > MAX_SPREAD_CDEG:
            return PLAN_TEMPERATURE
        if not _needs_fit(plan, number):
            return PLAN_CHANNEL
    return PLAN_FINE


def _needs_fit(plan, number):
    needed = plan.stage["needed_channels"][number]
    for channel in range(CHANNELS):
        if needed >> channel & 1 and not plan.on_board[channel]:
            return False
    return True


LEAST_KNOTS = {RAMP: 2, HOLD: 2, WAIT: 1, HOT_AIR: 1, POWER: 2}


def _knots_fit(plan, number):
    first = plan.stage["first_knot"][number]
    count = plan.stage["knots"][number]
    ticks = plan.knot["tick"]
    setpoints = plan.knot["setpoint_cdeg"]
    least = LEAST_KNOTS[plan.stage["kind"][number]]
    if count < least or first + count > plan.header["knots"] or ticks[first] != 0:
        return False
    for knot in range(first, first + count):
        if not MIN_CDEG < setpoints[knot] <= plan.header["peak_cdeg"]:
            return False
        for zone in range(ZONES):
            if plan.knot["feedforward%d_q15" % zone][knot] > FULL_POWER_Q15:
                return False
        if knot == first:
            continue
        span = ticks[knot] - ticks[knot - 1]
        if span <= 0 or ticks[knot] > MAX_LONGEST_TICKS:
            return False
        if abs(setpoints[knot] - setpoints[knot - 1]) > SMALL_INT_MAX // 2 // span:
            return False
        for zone in range(ZONES):
            powers = plan.feedforward_q15[zone]
            if abs(powers[knot] - powers[knot - 1]) > SMALL_INT_MAX // 2 // span:
                return False
    return True
