"""The plan: what the device will do, in one block of bytes with a CRC-32 at its end.

header | stages (at most 64) | knots (at most 512) | CRC-32. Written by the host's compiler, checked
here whole before it is accepted (PLAN_FAULTS), immutable from arming to the end. Offsets are
computed once from the layouts below; a reader asks for one field at a time and allocates nothing.
"""

import struct
from binascii import crc32

from emberbed_fw import safety_limits
from emberbed_fw.columns import read_columns, read_int
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, MIN_CDEG, NONE, ZONES

FORMAT_VERSION = 1
MAX_STAGES = 64
MAX_KNOTS = 512

RAMP = 0
HOLD = 1
WAIT = 2
HOT_AIR = 3  # numbered for good; refused by this firmware
COOL = 4
POWER = 5  # numbered for good; refused by this firmware

KIND_NAMES = ("RAMP", "HOLD", "WAIT", "HOT_AIR", "COOL", "POWER")

# channel roles
ROLE_ABSENT = 0
ROLE_CONTROL = 1
ROLE_EDGE = 2
ROLE_CHIP_TOP = 3
ROLE_NEIGHBOUR = 4
ROLE_EMITTER = 5
ROLE_PAIR = 6

ROLE_NAMES = ("absent", "control", "edge", "chip_top", "neighbour", "emitter", "pair")

HEADER_FIELDS = (
    ("version", "B"),
    ("stages", "B"),
    ("knots", "H"),
    ("peak_cdeg", "i"),  # highest setpoint
    ("longest_run_ticks", "I"),
    ("least_capacity_j_per_k", "H"),  # bounds of the declared board class; 0, 0 = any board
    ("most_capacity_j_per_k", "H"),
    ("handling_cdeg", "H"),  # the record ends when every good sensor is below
    ("fan_below_cdeg", "H"),  # the fan stays off while the solder may be soft
    ("in_jet_channels", "B"),
) + tuple([("role%d" % c, "B") for c in range(CHANNELS)]) + tuple(
    [("partner%d" % c, "B") for c in range(CHANNELS)]
) + tuple([("limit%d_cdeg" % c, "i") for c in range(CHANNELS)]) + tuple(
    [("pause%d_cdeg" % c, "i") for c in range(CHANNELS)]
) + tuple([("control%d" % z, "B") for z in range(ZONES)]) + tuple(
    [("cap%d_q15" % z, "H") for z in range(ZONES)]
) + tuple([("kp%d_q8" % z, "I") for z in range(ZONES)]) + tuple(
    [("ki%d_q14" % z, "I") for z in range(ZONES)]
) + tuple([("kd%d_q4" % z, "I") for z in range(ZONES)]) + tuple(
    [("weight%d_q8" % z, "H") for z in range(ZONES)]
) + tuple([("filter%d_shift" % z, "B") for z in range(ZONES)]) + tuple(
    [("preview%d_ticks" % z, "H") for z in range(ZONES)]  # how far ahead the plan's slope is taken
)

STAGE_FIELDS = (
    ("kind", "B"),
    ("prompt", "B"),  # NONE, or the number of the profile's prompt
    ("flags", "B"),
    ("spare", "B"),
    ("target_cdeg", "i"),  # end of a ramp, level of a hold or wait, end of cooling
    ("band_cdeg", "H"),
    ("hold_back_cdeg", "H"),  # the clock waits while the board is further behind
    ("fastest_cdeg_per_min", "H"),  # cooling: the fan pauses above it
    ("power_q15", "H"),
    ("remind_ticks", "I"),
    ("longest_ticks", "I"),
    ("first_knot", "H"),
    ("knots", "H"),
)

KNOT_FIELDS = (("tick", "I"), ("setpoint_cdeg", "i")) + tuple(
    [("feedforward%d_q15" % z, "H") for z in range(ZONES)]
)


def _layout(fields):
    return "<" + "".join([code for _name, code in fields])


HEADER = _layout(HEADER_FIELDS)
STAGE = _layout(STAGE_FIELDS)
KNOT = _layout(KNOT_FIELDS)
HEADER_BYTES = struct.calcsize(HEADER)
STAGE_BYTES = struct.calcsize(STAGE)
KNOT_BYTES = struct.calcsize(KNOT)
MAX_PLAN_BYTES = HEADER_BYTES + MAX_STAGES * STAGE_BYTES + MAX_KNOTS * KNOT_BYTES + 4

MAX_LONGEST_TICKS = 864000  # 24 h
MAX_KP_Q8 = 50000  # times an error of 20000 cdeg stays below 2**30
MAX_KI_Q14 = 5000  # times an error of 20000 cdeg is added to an integral below 9e8
MAX_KD_Q4 = 250000  # times a slope of 4000 stays below 2**30
MAX_WEIGHT_Q8 = 256
MAX_FILTER_SHIFT = 8
MAX_PREVIEW_TICKS = 6000
LEAST_HANDLING_CDEG = 3000  # a record must be able to end in a warm room

PLAN_FAULTS = (
    "fine",
    "damaged: the CRC does not fit",
    "of another format version",
    "of a wrong length",
    "without stages",
    "not ended by exactly one cooling stage",
    "using a stage kind this firmware does not offer",
    "asking for a temperature outside the limits",
    "using a channel or zone that is not configured",
    "using a gain or power outside its range",
    "using a time outside its range",
    "using knots that are out of order, missing or too steep",
)
(PLAN_FINE, PLAN_DAMAGED, PLAN_VERSION, PLAN_LENGTH, PLAN_EMPTY, PLAN_NO_COOLING, PLAN_KIND,
 PLAN_TEMPERATURE, PLAN_CHANNEL, PLAN_GAIN, PLAN_TIME, PLAN_KNOTS) = range(12)


class Plan:
    """A checked plan, opened for the tick: `header[name]`, `stage[name][n]`, `knot[name][n]`."""

    def __init__(self, data):
        self.crc_low, self.crc_high = struct.unpack_from("<HH", data, len(data) - 4)
        self.header = {}
        at = 0
        for name, code in HEADER_FIELDS:
            self.header[name] = read_int(code, data, at)
            at += struct.calcsize("<" + code)
        self.stages = self.header["stages"]
        self.stage = read_columns(STAGE_FIELDS, data, at, self.stages)
        at += self.stages * STAGE_BYTES
        self.knot = read_columns(KNOT_FIELDS, data, at, self.header["knots"])
        self.role = [self.header["role%d" % c] for c in range(CHANNELS)]
        self.limit_cdeg = [self.header["limit%d_cdeg" % c] for c in range(CHANNELS)]
        self.control = [self.header["control%d" % z] for z in range(ZONES)]
        self.feedforward_q15 = [self.knot["feedforward%d_q15" % z] for z in range(ZONES)]
        self.preview_ticks = [self.header["preview%d_ticks" % z] for z in range(ZONES)]
        self.in_use = [role != ROLE_ABSENT for role in self.role]


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
    return (_channel_fault(plan, settings) or _zone_fault(plan, settings)
            or _stages_fault(plan) or PLAN_FINE)


def _channel_fault(plan, settings):
    for channel in range(CHANNELS):
        role = plan.role[channel]
        if role == ROLE_ABSENT:
            continue
        if role > ROLE_PAIR or not settings.channel_fitted(channel):
            return PLAN_CHANNEL
        if not MIN_CDEG < plan.limit_cdeg[channel] <= settings.ceiling_cdeg[channel]:
            return PLAN_TEMPERATURE
    header = plan.header
    if not LEAST_HANDLING_CDEG <= header["handling_cdeg"] <= safety_limits.HANDLING_CDEG:
        return PLAN_TEMPERATURE
    if not MIN_CDEG < header["peak_cdeg"] <= safety_limits.HARD_CEILING_CDEG:
        return PLAN_TEMPERATURE
    if not 0 < header["longest_run_ticks"] <= MAX_LONGEST_TICKS:
        return PLAN_TIME
    return PLAN_FINE


def _zone_fault(plan, settings):
    for zone in range(ZONES):
        channel = plan.control[zone]
        if (channel == NONE) != (zone > 0):
            return PLAN_CHANNEL  # one zone: nothing shares out the socket's watts yet
        if channel == NONE:
            continue
        if channel >= CHANNELS or not plan.in_use[channel] or settings.watts[zone] == 0:
            return PLAN_CHANNEL
        if _gain_fault(plan.header, zone):
            return PLAN_GAIN
    return PLAN_FINE


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
        if kind not in (RAMP, HOLD, WAIT, COOL):
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
    return PLAN_FINE


LEAST_KNOTS = {RAMP: 2, HOLD: 2, WAIT: 1}


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
    return True
