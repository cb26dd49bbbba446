"""Every sentence about a request that the device refused, and about faults in a profile as sent.

Keyed by the firmware's names as in `words`; a test asserts that none is missing. For some requests
and changes a refusal has a sentence of its own, which says what was wrong with just that.
"""

from emberbed.words import name_at, unknown_code
from emberbed_fw import messages, safety_limits, units

REFUSALS = {
    "DONE": "Done.",
    "WRONG_VERSION": "The device speaks another version than this PC; install the firmware that"
    " came with this emberbed.",
    "WRONG_SESSION": "The device was restarted, or another program talks to it; close the other"
    " program, then connect again.",
    "WRONG_STATE": "The device cannot do that in its present state; let the running work end, or"
    " stop it, then try again.",
    "BAD_LENGTH": "A request had a wrong length; install the firmware of this emberbed.",
    "BAD_RANGE": "The device got a number outside its range; check the request and try again.",
    "BAD_CRC": "What the device stored differs from what was sent; check the cable, then send it"
    " again.",
    "BAD_PLAN": "The device does not accept the profile as sent.",
    "NOT_OFFERED": "This firmware does not offer that; leave it out, or install a newer firmware.",
    "WRONG_PROMPT": "The device waits for another answer than the one given; look at what it asks"
    " now, then answer again.",
    "BUSY": "The device is busy with another request or program; try again in a moment.",
    "TOO_OLD": "The request reached the device too late to be believed; send it again.",
    "ABOVE_LIMIT": "That goes beyond what was shown before the press; ask for less.",
    "NO_PLATEAU": "No hold has been reached yet; hold here instead.",
    "NO_RUN": "No run is on that could be changed; start one first.",
    "SWITCH_CLOSED": "A switch of the heater is closed although nothing heats; pull the heater's"
    " mains plug, then mend the switch or its sense input.",
}

_OFFSET_C = safety_limits.MOST_OFFSET_CDEG // 100
_EXTRA_MIN = safety_limits.MOST_EXTRA_TICKS // units.TICKS_PER_MIN
_NO_READING = "the control sensor has no reading now; seat its plug, then try again"

# (request or change, refusal) -> the sentence for just that
SPECIAL_REFUSALS = {
    ("SETTINGS_WRITE", "WRONG_STATE"): "Settings are taken only while nothing is loaded or runs;"
    " let the run end, or restart the device, then try again.",
    ("SETTINGS_WRITE", "BAD_RANGE"): "The device does not accept these settings: a converter, a"
    " ceiling, a calibration or a power is outside what its firmware allows.",
    ("SERVICE", "SWITCH_CLOSED"): "A switch of the heater is closed, or its sense is wired or"
    " described otherwise; pull the heater's mains plug, then install with --unplugged.",
    ("SERVICE", "WRONG_STATE"): "The device has a run, a cooling or a trip to end before it can be"
    " serviced; let the board cool and hold its button, or, once it has tripped, pull the heater's"
    " mains plug and install with --unplugged.",
    ("SELFTEST", "WRONG_STATE"): "The device heats; test it once the run has ended.",
    ("ACK_PROMPT", "WRONG_PROMPT"): "That question is gone; look at what the device asks now, then"
    " answer that.",
    ("ACK_PROMPT", "WRONG_STATE"): "There is no question to answer, as no run is on; start one"
    " first.",
    ("HOLD_HERE", "WRONG_STATE"): "There is nothing to hold: the device waits for you, hot air is"
    f" on, or {_NO_READING}.",
    ("LAST_PLATEAU", "WRONG_STATE"): f"There is no way back now: hot air is on, or {_NO_READING}.",
    ("LAST_PLATEAU", "NO_PLATEAU"): "No hold has been reached yet to go back to; hold here"
    " instead, or cool down.",
    ("GO_ON", "WRONG_STATE"): "Nothing is held that could go on; ask for the next stage instead.",
    ("NEXT_STAGE", "WRONG_STATE"): f"The next stage cannot begin: {_NO_READING}.",
    ("EXTEND", "WRONG_STATE"): "A ramp takes the time it takes; hold here instead.",
    ("EXTEND", "BAD_RANGE"): "A stage gets up to 60 s more at a time; ask for less, and again if"
    " need be.",
    ("EXTEND", "ABOVE_LIMIT"): f"This stage has had its {_EXTRA_MIN} min more; go on to the next"
    " stage.",
    ("OFFSET", "WRONG_STATE"): f"The target cannot be moved: {_NO_READING}.",
    ("OFFSET", "BAD_RANGE"): f"The target moves by at most {_OFFSET_C} °C; write another"
    " temperature into the profile instead.",
    ("OFFSET", "ABOVE_LIMIT"): "That would pass the highest temperature that was shown before the"
    " press; stay below it.",
    ("MARK", "BAD_RANGE"): "There is no such mark; use the next expected one, or a note.",
    ("MARK", "NO_RUN"): "No run is on to set a mark in; start one first.",
    ("COOL_DOWN", "NO_RUN"): "No run is heating that could be cooled down; start one first.",
    ("FAN_NOW", "NO_RUN"): "The fan belongs to the cooling; cool down first.",
    ("FAN_NOW", "WRONG_STATE"): "This profile or this device cools without a fan; let the board"
    " cool by itself.",
}

# In the order of the firmware's PLAN_FAULTS.
PLAN_FAULTS = (
    "The profile as sent is fine.",
    "The profile reached the device damaged; check the cable, then send it again.",
    "The profile was sent in a form this firmware does not know; install the firmware that came"
    " with this emberbed.",
    "The profile reached the device too short or long; check the cable, then send it again.",
    "The profile has no stages; give it at least a ramp and a cooling stage.",
    "The profile must end with one cooling stage and have no other; put one there.",
    "The profile has a kind of stage this firmware does not offer, or a prompt number it keeps for"
    " itself; use ramp, hold, wait, hot_air and cool.",
    "The profile asks for a temperature above what the device allows, or below the coldest it can"
    " read; lower the stage, or choose another sensor place.",
    "The profile names a sensor or a heater zone the device does not have; compare its sensors with"
    " those of the device.",
    "The controller numbers are outside what the device allows; use the default ones, or retune.",
    "The profile has a time outside what the device allows; keep the whole run shorter than a day.",
    "The profile has a course the device cannot follow; make its ramps longer or flatter.",
    "The profile is longer than the device's memory has room for; use fewer stages.",
)


def refusal_words(
    refusal: int, plan_fault: int | None = None, request: int = 0, touch: int = 0
) -> str:
    """Return why the device refused a request.

    `plan_fault` is the row that BAD_PLAN brings, `request` the message type and `touch` the change
    that a STAGE_REQUEST asked for, 0 where they are not known.
    """
    name = name_at(messages.REFUSAL_NAMES, refusal)
    if name is None:
        return f"{unknown_code('The device refused for a reason with the number', refusal)}."
    if refusal == messages.BAD_PLAN and plan_fault is not None:
        fault = name_at(PLAN_FAULTS, plan_fault)
        return fault or f"{unknown_code('The profile has a fault with the number', plan_fault)}."
    asked = messages.TOUCH_NAMES.get(touch) or messages.MESSAGE_NAMES.get(request, "")
    return SPECIAL_REFUSALS.get((asked, name), REFUSALS[name])
