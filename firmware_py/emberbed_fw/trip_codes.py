"""Every reason for which heat is taken away: one row each, with its reaction.

code      number in the record; never reused
name      the name that tests, hazards and the host's sentences are keyed by
reaction  REJECT     arming refused, nothing was heated
          HOLD       no permission while the cause lasts
          OFF        heat off into a watched cool-down; a person can mend it and go on
          LATCHED    heat off, contactor dropped, cleared only at the device when cool
"""

REJECT = 0
HOLD = 1
OFF = 2
LATCHED = 3

NO_TRIP = 0
SENSOR_OPEN = 1
SENSOR_SHORT_GROUND = 2
SENSOR_SHORT_SUPPLY = 3
SENSOR_BUS_DEAD = 4
SENSOR_STALE = 5
SENSOR_RANGE = 6
OVER_TEMPERATURE = 7
TICK_OVERRUN = 8
HEAT_UNCOMMANDED = 9
HEAT_MISSING = 10
CONTACTOR_STUCK_CLOSED = 11
CONTACTOR_STUCK_OPEN = 12
PROMPT_OVERDUE = 13
STAGE_OVERDUE = 14
RUN_TOO_LONG = 15
FIRMWARE_ERROR = 16
PC_LINK_LOST = 17
TOO_HOT_FROM_ABOVE = 18
SENSOR_LIFTED = 19
TRIP_CODES = 20

TRIPS = (
    (SENSOR_OPEN, "SENSOR_OPEN", OFF),
    (SENSOR_SHORT_GROUND, "SENSOR_SHORT_GROUND", OFF),
    (SENSOR_SHORT_SUPPLY, "SENSOR_SHORT_SUPPLY", OFF),
    (SENSOR_BUS_DEAD, "SENSOR_BUS_DEAD", OFF),
    (SENSOR_STALE, "SENSOR_STALE", OFF),
    (SENSOR_RANGE, "SENSOR_RANGE", OFF),
    (OVER_TEMPERATURE, "OVER_TEMPERATURE", LATCHED),
    (TICK_OVERRUN, "TICK_OVERRUN", LATCHED),
    (HEAT_UNCOMMANDED, "HEAT_UNCOMMANDED", LATCHED),
    (HEAT_MISSING, "HEAT_MISSING", LATCHED),
    (CONTACTOR_STUCK_CLOSED, "CONTACTOR_STUCK_CLOSED", LATCHED),
    (CONTACTOR_STUCK_OPEN, "CONTACTOR_STUCK_OPEN", LATCHED),
    (PROMPT_OVERDUE, "PROMPT_OVERDUE", OFF),
    (STAGE_OVERDUE, "STAGE_OVERDUE", OFF),
    (RUN_TOO_LONG, "RUN_TOO_LONG", LATCHED),
    (FIRMWARE_ERROR, "FIRMWARE_ERROR", LATCHED),
    # not a latched trip: the verdict is LINK_LOST and the cooling goes on being recorded
    (PC_LINK_LOST, "PC_LINK_LOST", OFF),
    (TOO_HOT_FROM_ABOVE, "TOO_HOT_FROM_ABOVE", LATCHED),
    (SENSOR_LIFTED, "SENSOR_LIFTED", OFF),
)

# Reasons for which one tick has no permission to heat, as bits of `withheld`.
WITHHELD_STATE = 1  # this state does not heat
WITHHELD_SENSOR = 2  # a configured sensor is doubtful
WITHHELD_LEASE = 4  # nobody answers for the heat
WITHHELD_TRIP = 8
WITHHELD_LATE = 16  # this tick came too late
WITHHELD_OVER_TEMPERATURE = 32
WITHHELD_SWITCH = 64  # the contactor is not seen closed
WITHHELD_LIFTED = 128  # a bead seems to lift off the board


# What may be mended hot: the reactions of all codes in a row, as a tick reads them.
REACTIONS = bytearray([LATCHED] * TRIP_CODES)
for _row in TRIPS:
    REACTIONS[_row[0]] = _row[2]


def reaction_of(code):
    """Return the reaction of trip `code`; an unknown code gets the hardest one."""
    return REACTIONS[code] if 0 < code < TRIP_CODES else LATCHED
