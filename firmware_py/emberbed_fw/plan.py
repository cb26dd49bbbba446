"""The plan: what the device will do, in one block of bytes with a CRC-32 at its end.

header | stages (at most 64) | knots (at most 512) | CRC-32. Written by the host's compiler, checked
here whole before it is accepted (PLAN_FAULTS), immutable from arming to the end. Offsets are
computed once from the layouts below; a reader asks for one field at a time and allocates nothing.
"""

import struct
from binascii import crc32

from emberbed_fw import safety_limits
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, MAX_CDEG, MIN_CDEG, NONE, ZONES

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
) + tuple([("filter%d_shift" % z, "B") for z in range(ZONES)])

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
MAX_KI_Q14 = 26000
MAX_KD_Q4 = 250000  # times a slope of 4000 stays below 2**30
MAX_WEIGHT_Q8 = 256
MAX_FILTER_SHIFT = 8

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
