"""How a terminal's lines are shared out: in a short one the curve goes first, then old events.

What the person has to read (banner, rows, keys) goes last. Takes and gives counts of lines.
"""

from typing import NamedTuple

CURVE_ROWS = 6
LEAST_CURVE_ROWS = 2  # a flatter one says nothing
AXIS_ROWS = 1
EVENT_ROWS = 4
KEY_ROWS = 2
KEPT_LONGEST = ("Touch", "Board", "Next", "Heater", "Now", "Waiting", "Guard", "Marks")


class Fit(NamedTuple):
    """Lines of each part."""

    rows: int
    keys: int
    events: int
    curve: int  # without its axis; 0: no curve and no axis


def fit(room: int) -> Fit:
    """Share out `room` lines, those inside the frame below the banner."""
    rows = min(len(KEPT_LONGEST), max(room, 1))
    keys = min(KEY_ROWS, max(room - rows, 0))
    events = min(EVENT_ROWS, max(room - rows - keys, 0))
    curve = min(CURVE_ROWS, room - rows - keys - events - AXIS_ROWS)
    return Fit(rows, keys, events, curve if curve >= LEAST_CURVE_ROWS else 0)


def kept(label: str, rows: int) -> bool:
    """Tell whether the row with this label is among the `rows` that stay longest."""
    return label in KEPT_LONGEST[:rows]
