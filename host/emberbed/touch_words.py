"""Every word about what a person did while a run was on: changes, marks, and where they came from.

Keyed by the firmware's names as in `words`; a test asserts that none is missing.
"""

from emberbed.words import name_at, unknown_code
from emberbed_fw import messages

TOUCHES = {
    "HOLD_HERE": "hold here",
    "GO_ON": "go on",
    "EXTEND": "more time",
    "NEXT_STAGE": "next stage now",
    "LAST_PLATEAU": "back to the last plateau",
    "OFFSET": "target moved",
    "COOL_DOWN": "cool down now",
    "MARK": "mark",
    "FAN_NOW": "fan now, the solder is solid",
    "ANSWER": "answered",
}

MARKS = {
    "NEXT": "next event",
    "FLUX_ON": "flux on",
    "NOZZLE_ON": "nozzle on",
    "SOLDER_MOVES": "solder moves",
    "CHIP_OFF": "chip off",
    "CHIP_ON": "chip on",
    "AIR_AWAY": "air away",
    "NOTE": "note",
}

SOURCES = {
    "NOBODY": "from nobody",
    "BUTTON": "from the button",
    "TERMINAL": "from the terminal",
    "PAGE": "from the page",
    "SCRIPT": "from a script",
}


def touch_name(touch: int) -> str:
    """Return a name of what a person did, for tables and files, '' for nothing."""
    return messages.TOUCH_NAMES.get(touch, str(touch)) if touch else ""


def mark_name(mark: int) -> str:
    """Return a name of the event that a person marked, for tables and files, '' for none."""
    return (name_at(messages.MARK_NAMES, mark) or str(mark)) if mark else ""


def source_name(source: int) -> str:
    """Return a name of where a touch came from, for tables and files, '' for none."""
    return (name_at(messages.SOURCE_NAMES, source) or str(source)) if source else ""


def touch_words(touch: int) -> str:
    """Return what a person asked for."""
    name = messages.TOUCH_NAMES.get(touch)
    return TOUCHES[name] if name else unknown_code("a change with the number", touch)


def mark_words(mark: int) -> str:
    """Return the event that a person marked."""
    name = name_at(messages.MARK_NAMES, mark)
    return MARKS[name] if name else unknown_code("an event with the number", mark)


def source_words(source: int) -> str:
    """Return where a change or an answer came from."""
    name = name_at(messages.SOURCE_NAMES, source)
    return SOURCES[name] if name else unknown_code("from a source with the number", source)


def offset_words(offset_cdeg: int) -> str:
    """Return how far a person has moved the targets."""
    if offset_cdeg == 0:
        return "target as in the profile"
    return f"target {abs(offset_cdeg) / 100:g} °C {'up' if offset_cdeg > 0 else 'down'}"
