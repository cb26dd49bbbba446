"""States of a run, verdicts, events, and the one table of what may follow what.

An (state, event) pair that is not in the table is refused and changes nothing. STOPPED, LINK_LOST
and the others are the run's verdict: the record goes on through COOL until the board may be
handled.
"""

BOOT = 0
IDLE = 1
LOADED = 2
COLD_PROOF = 3
HOT_PROOF = 4
RUN = 5
WAIT = 6
COOL = 7
FINISHED = 8
STOPPED = 9
LINK_LOST = 10
TRIPPED = 11
SERVICE = 12

STATE_NAMES = (
    "BOOT", "IDLE", "LOADED", "COLD_PROOF", "HOT_PROOF", "RUN", "WAIT", "COOL",
    "FINISHED", "STOPPED", "LINK_LOST", "TRIPPED", "SERVICE",
)

NO_VERDICT = 0  # otherwise FINISHED, STOPPED, LINK_LOST or TRIPPED

BOOTED = 0
PLAN_STORED = 1
ARMED = 2
ARM_EXPIRED = 3
ARM_REFUSED = 4
PRESSED = 5
PROVED = 6
HEATS = 7  # the next stage heats
ASKS = 8  # the next stage waits for the operator
COOLS = 9  # the plan is through, or the run was stopped, tripped or left alone
END_FINISHED = 10
END_STOPPED = 11
END_LINK_LOST = 12
END_TRIPPED = 13
CLEARED = 14
TO_SERVICE = 15
FROM_SERVICE = 16

EVENT_NAMES = (
    "BOOTED", "PLAN_STORED", "ARMED", "ARM_EXPIRED", "ARM_REFUSED", "PRESSED", "PROVED", "HEATS",
    "ASKS", "COOLS", "END_FINISHED", "END_STOPPED", "END_LINK_LOST", "END_TRIPPED", "CLEARED",
    "TO_SERVICE", "FROM_SERVICE",
)

NEXT_STATE = {
    BOOT: {BOOTED: IDLE},
    IDLE: {PLAN_STORED: LOADED, COOLS: COOL, TO_SERVICE: SERVICE},
    LOADED: {PLAN_STORED: LOADED, ARMED: COLD_PROOF, COOLS: COOL, TO_SERVICE: SERVICE},
    COLD_PROOF: {ARM_EXPIRED: LOADED, ARM_REFUSED: LOADED, PRESSED: HOT_PROOF, COOLS: COOL},
    HOT_PROOF: {PROVED: RUN, COOLS: COOL},
    RUN: {HEATS: RUN, ASKS: WAIT, COOLS: COOL},
    WAIT: {HEATS: RUN, ASKS: WAIT, COOLS: COOL},
    COOL: {
        ARMED: COLD_PROOF,  # a person has mended what tripped, and goes on while the board is hot
        END_FINISHED: FINISHED, END_STOPPED: STOPPED,
        END_LINK_LOST: LINK_LOST, END_TRIPPED: TRIPPED,
    },
    FINISHED: {PLAN_STORED: LOADED, COOLS: COOL, TO_SERVICE: SERVICE},
    STOPPED: {PLAN_STORED: LOADED, COOLS: COOL, TO_SERVICE: SERVICE},
    LINK_LOST: {PLAN_STORED: LOADED, COOLS: COOL, TO_SERVICE: SERVICE},
    TRIPPED: {CLEARED: IDLE, TO_SERVICE: SERVICE},  # plug pulled: a sense may be described wrong
    SERVICE: {FROM_SERVICE: IDLE},
}
FROM_NO_STATE = {COOLS: COOL}  # memory has changed: no state of ours; it can still end

END_EVENTS = {
    FINISHED: END_FINISHED, STOPPED: END_STOPPED, LINK_LOST: END_LINK_LOST, TRIPPED: END_TRIPPED,
}

# What the run waits for, one at a time, as the host shows it.
WAITS_NOTHING = 0
WAITS_SENSORS = 1  # arming: a sensor is not good yet
WAITS_RELEASE = 2  # arming: the button must be seen released
WAITS_PRESS = 3  # arming: the button must be held
WAITS_BOARD = 4  # the plan's clock waits for the board to catch up
WAITS_BAND = 5  # the hold's clock counts only inside its band
WAITS_OPERATOR = 6  # a prompt waits for its acknowledgement
WAITS_ANSWER = 7  # the stage is over its longest time and the device asks
WAITS_COOLING = 8
WAITS_HELD = 9  # a person holds the temperature where it is
WAITS_AIR_AWAY = 10  # hot air from above is on
WAITS_NEIGHBOUR = 11  # a neighbour is near its own limit: the plan's clock stands
WAITS_SPREAD = 12  # the board is uneven
WAITS_SENSOR_DOWN = 13  # a bead seems to lift: press it down
WAITS_EXPLANATION = 14  # the board does not do what the heat should make it do
WAITS_COLD_SENSOR = 15  # arming: a sensor differs from its cold junction on a rested bench
WAITS_STOP_RELEASE = 16  # arming: the latching stop is pressed

# Tuples that a tick asks are built here once: a tuple written inside a function is a new object.
STAGED_STATES = (RUN, WAIT)
HEATING_STATES = (HOT_PROOF, RUN, WAIT)
SHOWN_STATES = (RUN, WAIT, COOL)  # the record names the stage


def next_state(state, event):
    """Return the state that follows, or -1 when `event` is refused in `state`."""
    row = NEXT_STATE.get(state, FROM_NO_STATE)
    if event in row:
        return row[event]
    return -1
