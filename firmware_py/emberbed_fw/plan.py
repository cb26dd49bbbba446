"""The plan: what the device will do, in one block of bytes with a CRC-32 at its end.

header | stages (at most 64) | knots (at most 512) | CRC-32. Written by the host's compiler, checked
whole by plan_check before it is accepted, immutable from arming to the end. Offsets are computed
once from the layouts below; a reader asks for one field at a time and allocates nothing.
"""

import struct

from emberbed_fw import heap
from emberbed_fw.columns import read_columns, read_int
from emberbed_fw.units import CHANNELS, ZONES

FORMAT_VERSION = 3
MAX_STAGES = 64
MAX_KNOTS = 512

RAMP = 0
HOLD = 1
WAIT = 2
HOT_AIR = 3
COOL = 4
POWER = 5  # open loop, to identify a heater: ends after its time or at its target

PLATEAUS = (HOLD, WAIT, HOT_AIR)  # where a run may fall back to
KIND_NAMES = ("RAMP", "HOLD", "WAIT", "HOT_AIR", "COOL", "POWER")

# when the fan may start in the cooling
FAN_WHEN_SOLID = 0
FAN_ON_PRESS = 1
FAN_NEVER = 2

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
    ("most_setpoint_cdeg", "i"),  # highest that a person's changes may reach, shown at arming
    ("longest_run_ticks", "I"),
    ("least_capacity_j_per_k", "H"),  # bounds of the declared board class; 0, 0 = any board
    ("most_capacity_j_per_k", "H"),
    # the heater as the guard models it (heat_model.py); emitter_j_per_k 0 = not at all
    ("emitter_j_per_k", "H"),
    ("exchange_cm2", "H"),  # emitters to board: area times view factor times emissivities
    ("around_cm2", "H"),  # emitters to everything else
    ("convection_mw_per_k", "H"),  # emitters to the air
    ("board_loss_mw_per_k", "H"),
    ("model_trust", "B"),  # 1 = these numbers were identified: what they say may trip
    ("start_budget_j", "I"),  # net heat that must warm the control sensor by 5 degC
    ("handling_cdeg", "H"),  # the record ends when every good sensor is below
    ("fan_below_cdeg", "H"),  # the fan stays off while the solder may be soft
    ("fan_starts", "B"),  # FAN_*
    ("in_jet_channels", "B"),
) + tuple([("role%d" % c, "B") for c in range(CHANNELS)]) + tuple(
    [("partner%d" % c, "B") for c in range(CHANNELS)]
) + tuple([("limit%d_cdeg" % c, "i") for c in range(CHANNELS)]) + tuple(
    [("air_limit%d_cdeg" % c, "i") for c in range(CHANNELS)]  # once hot air has been on
) + tuple(
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
    ("needed_channels", "B"),  # bit per channel that a hold wants inside its band too
    ("marks", "H"),  # events expected of the person, four bits each, the first one lowest
    ("target_cdeg", "i"),  # end of a ramp, level of a hold or wait, end of cooling, limit of power
    ("band_cdeg", "H"),
    ("spread_cdeg", "H"),  # a ramp slows and a hold waits while the board is less even; 0 = never
    ("hold_back_cdeg", "H"),  # the clock waits while the board is further behind
    ("fastest_cdeg_per_min", "H"),  # cooling: the fan pauses above it
    ("power_q15", "H"),  # of a POWER stage
    ("cap_q15", "H"),  # most power in this stage, 0 = as the zone's own cap
    ("answer_ticks", "I"),  # longest wait for the operator to bring the hot air
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
HEADER_NAMES = tuple([name for name, _code in HEADER_FIELDS])
STAGE = _layout(STAGE_FIELDS)
KNOT = _layout(KNOT_FIELDS)
HEADER_BYTES = struct.calcsize(HEADER)
STAGE_BYTES = struct.calcsize(STAGE)
KNOT_BYTES = struct.calcsize(KNOT)
MAX_PLAN_BYTES = HEADER_BYTES + MAX_STAGES * STAGE_BYTES + MAX_KNOTS * KNOT_BYTES + 4

MAX_LONGEST_TICKS = 864000  # 24 h
MAX_KP_Q8 = 50000  # times an error of 20000 cdeg stays below 2**30
MAX_KI_Q14 = 5000  # times an error of 20000 cdeg is added to an integral below 9e8
MAX_KD_Q4 = 1000000  # times a slope of 1000 stays below 2**30
MAX_WEIGHT_Q8 = 256
MAX_FILTER_SHIFT = 8
MAX_PREVIEW_TICKS = 6000
MAX_SPREAD_CDEG = 10000
MARK_BITS = 4
MAX_PROMPT = 249  # the numbers above are questions of the device itself
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
    "longer than the memory of this device has room for",
)
(PLAN_FINE, PLAN_DAMAGED, PLAN_VERSION, PLAN_LENGTH, PLAN_EMPTY, PLAN_NO_COOLING, PLAN_KIND,
 PLAN_TEMPERATURE, PLAN_CHANNEL, PLAN_GAIN, PLAN_TIME, PLAN_KNOTS, PLAN_ROOM) = range(13)


class HeaderRow:
    """The header's numbers in the layout's order, as they are now."""

    def __init__(self, header):
        self._header = header

    def __len__(self):
        return len(HEADER_NAMES)

    def __getitem__(self, at):
        return self._header[HEADER_NAMES[at]]


class Plan:
    """A checked plan, opened for the tick: `header[name]`, `stage[name][n]`, `knot[name][n]`."""

    def __init__(self, data):
        heap.make_room()
        self.crc_low, self.crc_high = struct.unpack_from("<HH", data, len(data) - 4)
        self.header = {}
        at = 0
        for number in range(len(HEADER_NAMES)):
            code = HEADER[1 + number]
            self.header[HEADER_NAMES[number]] = read_int(code, data, at)
            at += struct.calcsize("<" + code)
        self.stages = self.header["stages"]
        self.stage = read_columns(STAGE_FIELDS, data, at, self.stages)
        at += self.stages * STAGE_BYTES
        self.knot = read_columns(KNOT_FIELDS, data, at, self.header["knots"])
        self.role = [self.header["role%d" % c] for c in range(CHANNELS)]
        self.limit_cdeg = [self.header["limit%d_cdeg" % c] for c in range(CHANNELS)]
        self.air_limit_cdeg = [self.header["air_limit%d_cdeg" % c] for c in range(CHANNELS)]
        self.partner = [self.header["partner%d" % c] for c in range(CHANNELS)]
        self.control = [self.header["control%d" % z] for z in range(ZONES)]
        self.feedforward_q15 = [self.knot["feedforward%d_q15" % z] for z in range(ZONES)]
        self.preview_ticks = [self.header["preview%d_ticks" % z] for z in range(ZONES)]
        self.in_use = [role != ROLE_ABSENT for role in self.role]
        self.on_board = [role not in (ROLE_ABSENT, ROLE_EMITTER) for role in self.role]
        self.near_solder = [role in (ROLE_CONTROL, ROLE_CHIP_TOP) for role in self.role]
        in_jet = self.header["in_jet_channels"]
        self.in_jet = [in_jet >> c & 1 == 1 for c in range(CHANNELS)]
        # a jet that comes and goes moves these beads as it likes
        self.off_jet = [
            self.on_board[c] and not self.in_jet[c] and self.role[c] != ROLE_CHIP_TOP
            for c in range(CHANNELS)
        ]
        # where the board's evenness is judged: away from the nozzle, and not on single parts
        self.tells_spread = [
            self.role[c] in (ROLE_CONTROL, ROLE_EDGE, ROLE_PAIR) and not self.in_jet[c]
            for c in range(CHANNELS)
        ]
        self.pause_cdeg = [
            self.header["pause%d_cdeg" % c] if self.role[c] == ROLE_NEIGHBOUR else 0
            for c in range(CHANNELS)
        ]

    def tables(self):
        """Return every row of numbers that a run lives by."""
        rows = [HeaderRow(self.header), self.role, self.partner, self.control, self.pause_cdeg]
        rows += [self.in_use, self.on_board, self.near_solder, self.in_jet, self.off_jet]
        rows += [self.tells_spread, self.limit_cdeg, self.air_limit_cdeg, self.preview_ticks]
        # in the layout's order: a dict has another one in each interpreter, and sums go on with it
        stages = [self.stage[name] for name, _code in STAGE_FIELDS]
        return rows + stages + [self.knot[name] for name, _code in KNOT_FIELDS]
