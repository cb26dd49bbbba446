"""What happened when heat was switched off for good, and what to do about it: one sentence each.

Keyed by the firmware's names; a test asserts that none is missing. `words.trip_words` puts the
sensor's name in.
"""

from typing import NamedTuple

from emberbed_fw import safety_limits, units

GO_ON = "then go on or start a new run."


class TripWords(NamedTuple):
    """What happened and what to do about it, one sentence each."""

    happened: str
    mend: str


# {sensor} is replaced by the sensor with its name, or by "a sensor".
TRIPS = {
    "SENSOR_OPEN": TripWords(
        "The thermocouple of {sensor} is open: it broke, or came off its terminals.",
        f"Seat its plug, check its wire, fix the bead to the board again, {GO_ON}",
    ),
    "SENSOR_SHORT_GROUND": TripWords(
        "The bead of {sensor} touches metal.",
        f"Insulate it with one layer of polyimide tape under the bead, fix it again, {GO_ON}",
    ),
    "SENSOR_SHORT_SUPPLY": TripWords(
        "A wire of {sensor} touches a supply voltage.",
        f"Switch the heater off, find the bare spot on the wire and mend it, {GO_ON}",
    ),
    "SENSOR_BUS_DEAD": TripWords(
        "The converter of {sensor} does not answer.",
        "Switch the heater off and check the cable and the supply of the converter.",
    ),
    "SENSOR_STALE": TripWords(
        "The converter of {sensor} gave no new reading in time.",
        "Check the cable of the converter; replace the converter if it happens again.",
    ),
    "SENSOR_RANGE": TripWords(
        "The reading of {sensor} is outside "
        f"{safety_limits.LEAST_VALID_CDEG // 100} to {safety_limits.MOST_VALID_CDEG // 100} °C,"
        " where no bench is.",
        "Check that the thermocouple is of the right type and its two wires are not swapped.",
    ),
    "OVER_TEMPERATURE": TripWords(
        "The limit of {sensor} was passed.",
        "Leave the board alone until it is cool, check that every bead lies on its place, then"
        " look whether limit and profile fit this board.",
    ),
    "TICK_OVERRUN": TripWords(
        f"The controller fell more than {safety_limits.OVERRUN_TICK_MS - units.TICK_MS} ms behind.",
        "Switch the controller off and on; do not heat with it if this happens again.",
    ),
    "HEAT_UNCOMMANDED": TripWords(
        "Heater current flows although the heater was told to be off: its switch is stuck on.",
        "Pull the mains plug now, and have the switch replaced before the heater is used again.",
    ),
    "HEAT_MISSING": TripWords(
        "No heater current flows although the heater was told to be on.",
        "See whether the thermal cut-out has opened and why; then, with the mains plug pulled,"
        " have fuse, wiring and heater checked.",
    ),
    "CONTACTOR_STUCK_CLOSED": TripWords(
        "The second switch stayed closed although it was told to open.",
        "Pull the mains plug now, and have the second switch replaced before the heater is used"
        " again.",
    ),
    "CONTACTOR_STUCK_OPEN": TripWords(
        "The second switch did not close when it was told to.",
        "See whether the emergency stop or the thermal cut-out is open; then, with the mains plug"
        " pulled, have the switch and its coil checked.",
    ),
    "PROMPT_OVERDUE": TripWords(
        "Nobody said in time that the asked-for work was done.",
        "Have everything at hand before the next run, or allow this wait a longer time.",
    ),
    "STAGE_OVERDUE": TripWords(
        "A stage took longer than it may, and nobody answered the question about it.",
        "Check that the beads lie on the board and the heater is strong enough for it, or allow the"
        " stage a longer time.",
    ),
    "RUN_TOO_LONG": TripWords(
        "The run took longer than a run with this profile may.",
        "Find the stage that took too long in the run's report, and mend its cause or its time.",
    ),
    "FIRMWARE_ERROR": TripWords(
        "The program in the controller met a fault of its own.",
        "Switch the controller off and on, keep the record of this run, and report it.",
    ),
    "PC_LINK_LOST": TripWords(
        f"The PC link was silent for more than {safety_limits.LEASE_TICKS // units.TICKS_PER_S} s.",
        f"Check the cable, keep the PC from going to sleep, {GO_ON}",
    ),
    "TOO_HOT_FROM_ABOVE": TripWords(
        "The limit of {sensor} was passed while hot air was on.",
        "Take the hot air away and leave the board alone until it is cool; next time hold the"
        " nozzle higher or set it cooler.",
    ),
    "SENSOR_LIFTED": TripWords(
        "The bead of {sensor} has lifted off the board:"
        f" it was not pressed down within {safety_limits.LIFT_TICKS // units.TICKS_PER_S} s.",
        f"Press it down and fix it with fresh tape, {GO_ON}",
    ),
    "PREDICTED_PEAK": TripWords(
        "The heat that the heater still holds would have brought {sensor} above its limit.",
        "Leave the board alone until it is cool; then ramp more slowly, or identify the heater"
        " anew.",
    ),
    "NO_RISE": TripWords(
        "The sensor that controls the heat did not rise as the heat sent to the board should have"
        " made it.",
        f"Press its bead onto the board and fix it with fresh tape, {GO_ON}",
    ),
    "HEAT_NOT_ARRIVING": TripWords(
        "The board rose less than the heat sent to it must have warmed it.",
        f"See that the bead touches the board and that every emitter glows, {GO_ON}",
    ),
    "HEAT_SURPLUS": TripWords(
        "The board rose more than the heat sent to it could have warmed it.",
        "Pull the mains plug now, unless hot air was on that nobody had announced, and have the"
        " heater's switch checked before it is used again.",
    ),
    "READING_STUCK": TripWords(
        "The reading of {sensor} stood still although the board must have changed.",
        f"Check its plug and the cable of its converter, {GO_ON}",
    ),
    "READING_JUMPS": TripWords(
        "The reading of {sensor} jumped as no board can.",
        f"Lay its wire away from mains and motors, seat its plug, {GO_ON}",
    ),
    "SENSORS_DISAGREE": TripWords(
        "Two sensors that lie side by side disagree: one of them has come off.",
        f"Press both beads down and fix them with fresh tape, {GO_ON}",
    ),
    "COLD_JUNCTION": TripWords(
        "The converters tell temperatures of their own that cannot be, or that differ too much.",
        f"Move the electronics away from the heat and let them cool, {GO_ON}",
    ),
    "HEAP_LOW": TripWords(
        "The controller ran short of memory.",
        "Switch the controller off and on, keep the record of this run, and report it.",
    ),
    "MEMORY_CHANGED": TripWords(
        "A number that the run lives by changed in the controller's memory.",
        "Switch the controller off and on; do not heat with it if this happens again.",
    ),
    "PROGRAM_FLOW": TripWords(
        "The program in the controller left out a step, or took it out of order.",
        "Switch the controller off and on, keep the record of this run, and report it.",
    ),
}
