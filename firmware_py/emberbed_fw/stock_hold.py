"""The plan of a device that is used alone: warm up gently, hold one temperature, cool.

Built from the device description (`hold_cdeg`) with the gains of an unidentified heater; the same
check as for every plan decides whether it may be armed. Allocates: between ticks only.
"""

import struct
from binascii import crc32

from emberbed_fw import plan as plans
from emberbed_fw.safety_limits import HANDLING_CDEG, LONGEST_COOL_TICKS, MOST_OFFSET_CDEG
from emberbed_fw.settings import MAX_HOLD_CDEG
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, NONE, TICKS_PER_MIN, ZONES

RAMP_TICKS_PER_CDEG_Q8 = 85  # 0.3 degC per second
HOLD_TICKS = 30 * TICKS_PER_MIN
LIMIT_ABOVE_CDEG = 2000
START_CDEG = 2000
FAN_BELOW_CDEG = MAX_HOLD_CDEG  # no solder melts there
CAP_Q15 = FULL_POWER_Q15 * 3 // 5  # 60 % while nobody has identified the heater
KP_Q8 = 8389
KI_Q14 = 161
KD_Q4 = 104858
FILTER_SHIFT = 5
PREVIEW_TICKS = 350

# What the guard assumes of a heater and a board that nobody told anything of: quartz tubes, and
# anything from 15 g to 1.5 kg. All from memory; the host's guess for any board is the same.
MODEL_PER_KW = (
    ("emitter_j_per_k", 120), ("exchange_cm2", 127), ("around_cm2", 128),
    ("convection_mw_per_k", 400),
)
LEAST_J_PER_K = 15
MOST_J_PER_K = 1500
LOSS_MW_PER_K = 700
BUDGET_J = 3000


def is_offered(settings):
    """Tell whether the description asks for a plain hold that its first channel can bear."""
    for channel in range(CHANNELS):
        if settings.couple_fitted(channel) and not settings.sits_on_emitter(channel):
            return 0 < settings.hold_cdeg < settings.ceiling_cdeg[channel]
    return False


def build_hold(settings):
    """Return the plan's bytes: the first fitted channel controls, the others watch the edge."""
    hold_cdeg = settings.hold_cdeg
    ramp_ticks = max((hold_cdeg - START_CDEG) * RAMP_TICKS_PER_CDEG_Q8 >> 8, 1)
    header = _header(settings, hold_cdeg, 2 * ramp_ticks + 3 * HOLD_TICKS + LONGEST_COOL_TICKS)
    stages = (
        _stage(plans.RAMP, hold_cdeg, 2 * ramp_ticks, 0, 2,
               {"band_cdeg": 300, "hold_back_cdeg": 800}),
        _stage(plans.HOLD, hold_cdeg, 2 * HOLD_TICKS, 2, 2, {"band_cdeg": 500}),
        _stage(plans.COOL, min(HANDLING_CDEG, hold_cdeg), 0, 4, 0, {"fastest_cdeg_per_min": 12000}),
    )
    knots = ((0, START_CDEG), (ramp_ticks, hold_cdeg), (0, hold_cdeg), (HOLD_TICKS, hold_cdeg))
    block = struct.pack(plans.HEADER, *[header.get(name, 0) for name in plans.HEADER_NAMES])
    for stage in stages:
        block += _pack(plans.STAGE_FIELDS, stage)
    for tick, cdeg in knots:
        block += _pack(plans.KNOT_FIELDS, {"tick": tick, "setpoint_cdeg": cdeg})
    return block + struct.pack("<I", crc32(block))


def _header(settings, hold_cdeg, longest_ticks):
    header = {
        "version": plans.FORMAT_VERSION, "stages": 3, "knots": 4, "peak_cdeg": hold_cdeg,
        "most_setpoint_cdeg": hold_cdeg + MOST_OFFSET_CDEG, "longest_run_ticks": longest_ticks,
        "handling_cdeg": HANDLING_CDEG, "fan_below_cdeg": FAN_BELOW_CDEG,
        "cap0_q15": CAP_Q15, "kp0_q8": KP_Q8, "ki0_q14": KI_Q14, "kd0_q4": KD_Q4,
        "weight0_q8": plans.MAX_WEIGHT_Q8, "filter0_shift": FILTER_SHIFT,
        "preview0_ticks": PREVIEW_TICKS, "least_capacity_j_per_k": LEAST_J_PER_K,
        "most_capacity_j_per_k": MOST_J_PER_K, "board_loss_mw_per_k": LOSS_MW_PER_K,
        "start_budget_j": BUDGET_J,
    }
    for name, per_kw in MODEL_PER_KW:
        header[name] = settings.watts[0] * per_kw // 1000
    control = NONE
    for channel in range(CHANNELS):
        header["partner%d" % channel] = NONE
        if not settings.couple_fitted(channel):
            continue
        limit_cdeg = settings.ceiling_cdeg[channel]
        role = plans.ROLE_EMITTER
        if not settings.sits_on_emitter(channel):
            control = min(control, channel)
            role = plans.ROLE_CONTROL if channel == control else plans.ROLE_EDGE
            limit_cdeg = min(hold_cdeg + LIMIT_ABOVE_CDEG, limit_cdeg)
        header["role%d" % channel] = role
        header["limit%d_cdeg" % channel] = limit_cdeg
        header["air_limit%d_cdeg" % channel] = limit_cdeg
    for zone in range(ZONES):
        header["control%d" % zone] = control if zone == 0 else NONE
    return header


def _stage(kind, target_cdeg, longest_ticks, first_knot, knots, more):
    stage = {
        "kind": kind, "prompt": NONE, "target_cdeg": target_cdeg, "longest_ticks": longest_ticks,
        "first_knot": first_knot, "knots": knots, "remind_ticks": TICKS_PER_MIN // 2,
    }
    stage.update(more)
    return stage


def _pack(fields, values):
    return b"".join([struct.pack("<" + code, values.get(name, 0)) for name, code in fields])
