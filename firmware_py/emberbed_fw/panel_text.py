"""What a small display at the device says: eight rows of sixteen letters, most urgent first.

For a person who has no PC: the state, what the device waits for, readings, setpoint, what went
wrong. Allocates: after a tick only.
"""

from emberbed_fw import run_states as rs
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.trip_codes import NO_TRIP, TRIPS
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, NONE, TICKS_PER_S

LETTERS = 16
TRIP_TEXTS = tuple([name.lower().replace("_", " ") for _code, name, _reaction in TRIPS])
STATE_TEXTS = {
    rs.BOOT: "starting", rs.IDLE: "ready", rs.LOADED: "hold to arm", rs.COLD_PROOF: "cold checks",
    rs.HOT_PROOF: "heater checks", rs.RUN: "HEATING", rs.WAIT: "HEAT, WAITING", rs.COOL: "COOLING",
    rs.FINISHED: "finished", rs.STOPPED: "stopped", rs.LINK_LOST: "PC went away",
    rs.TRIPPED: "TRIPPED", rs.SERVICE: "service",
}
WAIT_TEXTS = {
    rs.WAITS_SENSORS: "check sensors", rs.WAITS_RELEASE: "release button",
    rs.WAITS_PRESS: "HOLD TO HEAT",
}


def panel_lines(machine):
    """Return the rows of now."""
    life = machine.life
    lines = [STATE_TEXTS[life.state]]
    if machine.guard.trip != NO_TRIP:
        lines += _wrapped(TRIP_TEXTS[machine.guard.trip - 1])
    urgent = WAIT_TEXTS.get(life.waits_for, "")
    if machine.prompt() not in (NONE, AIR_AWAY_PROMPT):
        urgent = "PRESS: GO ON"
    if urgent:
        lines.append(urgent)
    if life.state in (rs.LOADED, rs.COLD_PROOF, rs.HOT_PROOF) and machine.plan is not None:
        lines.append("up to %s C" % _degrees(machine.plan.header["peak_cdeg"]))
    if life.state in rs.STAGED_STATES:
        lines.append("stage %d  %s" % (machine.stage() + 1, _clock(machine.stage_elapsed())))
        lines.append("to %s C" % _degrees(machine.setpoint_cdeg()))
    lines += _readings(machine)
    return [line[:LETTERS] for line in lines]


def _readings(machine):
    """Return a row for each fitted channel: its number and what it reads."""
    rows = []
    for channel in range(CHANNELS):
        if machine.settings.channel_fitted(channel):
            cdeg = machine.readings.cdeg[channel]
            rows.append("%d: %s" % (channel + 1, _degrees(cdeg) + " C" if cdeg != NO_READING_CDEG
                                    else "no reading"))
    return rows


def _degrees(cdeg):
    """Return whole degrees and tenths."""
    tenths = (abs(cdeg) + 5) // 10
    return "%s%d.%d" % ("-" if cdeg < 0 and tenths else "", tenths // 10, tenths % 10)


def _clock(ticks):
    seconds = ticks // TICKS_PER_S
    return "%d:%02d" % (seconds // 60, seconds % 60)


def _wrapped(text):
    """Return a text in rows of whole words."""
    rows = [""]
    for word in text.split(" "):
        if rows[-1] and len(rows[-1]) + 1 + len(word) > LETTERS:
            rows.append("")
        rows[-1] += (" " if rows[-1] else "") + word
    return rows
