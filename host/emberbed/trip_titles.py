"""Every trip in a few words, for lists and rows, and which of them ask for the mains plug.

Keyed by the firmware's names as in `words`; a test asserts that none is missing.
"""

from emberbed.words import trip_name
from emberbed_fw import trip_codes

TRIP_TITLES = {
    "SENSOR_OPEN": "open thermocouple",
    "SENSOR_SHORT_GROUND": "bead touches metal",
    "SENSOR_SHORT_SUPPLY": "wire at a supply",
    "SENSOR_BUS_DEAD": "converter silent",
    "SENSOR_STALE": "reading too old",
    "SENSOR_RANGE": "impossible reading",
    "OVER_TEMPERATURE": "too hot",
    "TICK_OVERRUN": "controller late",
    "HEAT_UNCOMMANDED": "heater stuck on",
    "HEAT_MISSING": "no heater current",
    "CONTACTOR_STUCK_CLOSED": "second switch stuck",
    "CONTACTOR_STUCK_OPEN": "second switch open",
    "PROMPT_OVERDUE": "nobody answered",
    "STAGE_OVERDUE": "stage too long",
    "RUN_TOO_LONG": "run too long",
    "FIRMWARE_ERROR": "controller fault",
    "PC_LINK_LOST": "PC link silent",
}

# Trips after which only the mains plug is sure to take the heat away.
UNPLUG_TRIPS = (trip_codes.HEAT_UNCOMMANDED, trip_codes.CONTACTOR_STUCK_CLOSED)
UNPLUG = "pull the mains plug now"

# The store's states that are no words for a person.
ENDED_AS = {"link_lost": "PC link lost"}


def trip_title(code: int) -> str:
    """Return what tripped in a few words, '' for none."""
    name = trip_name(code)
    return TRIP_TITLES.get(name, name)


def ended_as(state: str, trip: int) -> str:
    """Return the end of a run for a table, a trip with its short name."""
    if state == "tripped" and trip:
        return f"tripped: {trip_title(trip)}"
    return ENDED_AS.get(state, state)
