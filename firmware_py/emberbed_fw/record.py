"""The record of one tick: everything it read and everything it did, in one fixed layout.

FIELDS is the layout (name, struct code), little-endian without padding; after the fixed part come
the accepted commands, each as type, length, payload. The same bytes are ringed, framed, stored and
replayed. Fields from `state` on are outputs: replay must give them again, bit for bit.
"""

import struct

from emberbed_fw.units import CHANNELS, WORD_BYTES, ZONES

INPUT_FIELDS = (
    ("tick", "I"),
    ("elapsed_ms", "H"),  # since the tick before
    ("port_flags", "H"),
    ("fresh_channels", "B"),  # bit per channel: a new conversion was read
    ("words", "%ds" % (CHANNELS * WORD_BYTES)),
)
OUTPUT_FIELDS = (
    ("state", "B"),
    ("verdict", "B"),
    ("stage", "B"),
    ("trip", "B"),  # the first cause
    ("second_trip", "B"),  # what went wrong after it
    ("withheld", "H"),  # why this tick had no permission, trip_codes.WITHHELD_*
    ("warnings", "B"),  # what a person should know and nothing trips for, trip_codes.WARN_*
    ("waits_for", "B"),
    ("prompt", "B"),
    ("stage_tick", "I"),  # the plan's clock inside the stage
    ("stage_elapsed", "I"),  # ticks since the stage began
    ("setpoint_cdeg", "i"),
    ("faults_low", "H"),  # a trip code in four bits, channels 0..3
    ("faults_high", "H"),  # channels 4..7
    ("energy_j", "I"),
    ("emitter_mk", "I"),  # as the guard's own model has it
    ("most_emitter_mk", "I"),  # the hottest that it could be
    ("driven_zones", "B"),
    ("outputs", "B"),
    ("touch", "B"),  # what a person changed in this tick, messages.TOUCH_NAMES
    ("touch_source", "B"),
    ("mark", "B"),  # an event that a person marked in this tick
    ("offset_cdeg", "h"),  # what a person has shifted the targets by
    ("trips_of_cause", "B"),  # how often this cause has tripped in this session
) + tuple([("demand%d_q15" % zone, "H") for zone in range(ZONES)]) + tuple(
    [("channel%d_cdeg" % channel, "i") for channel in range(CHANNELS)]
) + tuple([("cold%d_cdeg" % channel, "h") for channel in range(CHANNELS)])
FIELDS = INPUT_FIELDS + OUTPUT_FIELDS



def offset_of(field):
    """Return where a field begins in a record's bytes."""
    at = 0
    for name, code in FIELDS:
        if name == field:
            return at
        at += struct.calcsize("<" + code)
    raise ValueError("no such field")


FIXED = "<" + "".join([code for _name, code in FIELDS])
FIXED_BYTES = struct.calcsize(FIXED)
INPUT_BYTES = struct.calcsize("<" + "".join([code for _name, code in INPUT_FIELDS]))
COMMAND_BYTES = 80  # room for one tick's accepted commands, each with a 2-byte heading
MAX_RECORD = FIXED_BYTES + COMMAND_BYTES
WORDS_OFFSET = struct.calcsize("<" + "".join([code for _name, code in INPUT_FIELDS[:-1]]))

# port_flags: what the device port saw besides the converter words
PORT_BUTTON = 1
PORT_CONTACTOR_CLOSED = 2  # mirror contact
PORT_HEAT_CURRENT = 4  # emitter current flowed in the last tick
PORT_FAN_TURNS = 8
PORT_BUS_ERROR = 16
PORT_HEAP_LOW = 32
PORT_STOPPED = 128  # the latching stop, which opens the contactor's coil by itself, is pressed
PORT_INJECTED = 64  # none of this was measured: readings came over the wire (ports/inject)

# outputs
OUT_CONTACTOR = 1
OUT_FAN = 2
OUT_LAMP = 4
OUT_BUZZER = 8
