"""Every trip in a few words, for lists and rows; how it clears, and when the mains plug must go.

Keyed by the firmware's names as in `words`; a test asserts that none is missing.
"""

from emberbed.link.events import Greeting
from emberbed.words import trip_name
from emberbed_fw import safety_limits, trip_codes, units
from emberbed_fw.device_port import RESET_WATCHDOG

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
    "TOO_HOT_FROM_ABOVE": "too hot from above",
    "SENSOR_LIFTED": "sensor lifted",
    "PREDICTED_PEAK": "heat still coming",
    "NO_RISE": "sensor does not rise",
    "HEAT_NOT_ARRIVING": "heat not arriving",
    "HEAT_SURPLUS": "more heat than sent",
    "READING_STUCK": "reading stands still",
    "READING_JUMPS": "reading jumps",
    "SENSORS_DISAGREE": "sensors disagree",
    "COLD_JUNCTION": "converter too warm or cold",
    "HEAP_LOW": "controller memory full",
    "MEMORY_CHANGED": "controller memory changed",
    "PROGRAM_FLOW": "controller out of order",
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


def last_start_words(greeting: Greeting) -> list[str]:
    """Return what a person should know of why the device started anew, and what was before."""
    said = []
    if greeting.reset_cause == RESET_WATCHDOG:
        said.append("the device's watchdog has restarted it: its program hung, or was held up")
    if greeting.kept_trip:
        title = trip_title(greeting.kept_trip)
        said.append(f"before its last start the device had tripped ({title}); nothing heated since")
    return said


def ended_as(state: str, trip: int) -> str:
    """Return the end of a run for a table, a trip with its short name."""
    if state == "tripped" and trip:
        return f"tripped: {trip_title(trip)}"
    return ENDED_AS.get(state, state)


def clearing_words(code: int, trips_of_cause: int) -> str:
    """Return how the trip `code` clears, '' where only a repair helps; `trips_of_cause` is how
    often this cause has tripped since the device was switched on."""
    if trip_codes.reaction_of(code) == trip_codes.OFF:
        if trips_of_cause >= safety_limits.GO_ON_TRIPS:
            return f"This is trip number {trips_of_cause} of this cause: only cooling is left."
        minutes = safety_limits.GO_ON_TICKS // units.TICKS_PER_MIN
        return f"Mended within {minutes} min, the run can go on from where the board is then."
    if code in UNPLUG_TRIPS:
        return ""
    cool_c = safety_limits.HANDLING_CDEG // 100
    return f"It clears at the device below {cool_c} °C: hold the button for a second."
