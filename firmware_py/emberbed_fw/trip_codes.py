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
PREDICTED_PEAK = 20
NO_RISE = 21
HEAT_NOT_ARRIVING = 22
HEAT_SURPLUS = 23
READING_STUCK = 24
READING_JUMPS = 25
SENSORS_DISAGREE = 26
COLD_JUNCTION = 27
HEAP_LOW = 28
MEMORY_CHANGED = 29
PROGRAM_FLOW = 30
TRIP_CODES = 31

TRIPS = (  # in the order of the codes, none left out
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
    (PREDICTED_PEAK, "PREDICTED_PEAK", LATCHED),
    (NO_RISE, "NO_RISE", OFF),
    (HEAT_NOT_ARRIVING, "HEAT_NOT_ARRIVING", OFF),
    (HEAT_SURPLUS, "HEAT_SURPLUS", LATCHED),
    (READING_STUCK, "READING_STUCK", OFF),
    (READING_JUMPS, "READING_JUMPS", OFF),
    (SENSORS_DISAGREE, "SENSORS_DISAGREE", OFF),
    (COLD_JUNCTION, "COLD_JUNCTION", OFF),
    (HEAP_LOW, "HEAP_LOW", LATCHED),
    (MEMORY_CHANGED, "MEMORY_CHANGED", LATCHED),
    (PROGRAM_FLOW, "PROGRAM_FLOW", LATCHED),
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
WITHHELD_COMING = 256  # what the emitters have stored would carry a sensor to its limit
WITHHELD_ASKS = 512  # the control sensor does not rise: is it touching?
WITHHELD_DISTURBED = 1024  # readings move as no board can
WITHHELD_APART = 2048  # a pair of sensors disagrees
WITHHELD_MACHINE = 4096  # memory, heap or program flow
WITHHELD_SURPLUS = 8192  # the board gets more heat than was sent: hot air that nobody announced

# What a person should know, as bits of `warnings`; nothing trips for them.
WARN_NOT_IDENTIFIED = 1  # the guard's model of this heater is a guess: it only asks and slows down
WARN_SECOND_SWITCH = 2  # no sense proves the contactor: commanded, not proved
WARN_FAN = 4  # the fan does not do what it is told
WARN_SURPLUS = 8  # the board gets more heat than was sent
WARN_MISSING = 16  # the board gets less heat than was sent
NOTE_RESTED = 128  # no warning: the bench has certainly been without heat for half an hour


# What may be mended hot: the reactions of all codes in a row, as a tick reads them.
REACTIONS = bytes([LATCHED] + [reaction for _code, _name, reaction in TRIPS])


def reaction_of(code):
    """Return the reaction of trip `code`; an unknown code gets the hardest one."""
    return REACTIONS[code] if 0 < code < TRIP_CODES else LATCHED
