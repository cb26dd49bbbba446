"""Every sentence about a request that the device refused, and about faults in a profile as sent.

Keyed by the firmware's names as in `words`; a test asserts that none is missing.
"""

from emberbed.words import name_at, unknown_code
from emberbed_fw import messages

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
    "The profile has a kind of stage this firmware does not offer; use ramp, hold, wait and cool.",
    "The profile asks for a temperature above what the device allows, or below the coldest it can"
    " read; lower the stage, or choose another sensor place.",
    "The profile names a sensor or a heater zone the device does not have; compare its sensors with"
    " those of the device.",
    "The controller numbers are outside what the device allows; use the default ones, or retune.",
    "The profile has a time outside what the device allows; keep the whole run shorter than a day.",
    "The profile has a course the device cannot follow; make its ramps longer or flatter.",
)


def refusal_words(refusal: int, plan_fault: int | None = None) -> str:
    """Return why the device refused a request; `plan_fault` is the row that BAD_PLAN brings."""
    name = name_at(messages.REFUSAL_NAMES, refusal)
    if name is None:
        return f"{unknown_code('The device refused for a reason with the number', refusal)}."
    if refusal == messages.BAD_PLAN and plan_fault is not None:
        fault = name_at(PLAN_FAULTS, plan_fault)
        return fault or f"{unknown_code('The profile has a fault with the number', plan_fault)}."
    return REFUSALS[name]
