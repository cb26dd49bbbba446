"""A course thinned to the few corners that a plan holds: lines between them stay near all points.

Both columns, setpoint and power, share their corners; a point is kept where either line would pass
it further off than is allowed (Ramer 1972, Douglas and Peucker 1973).
"""

import numpy as np


def kept_points(seconds: np.ndarray, columns: np.ndarray, most_off: np.ndarray) -> np.ndarray:
    """Return the rows to keep, first and last among them; `most_off` is allowed by column."""
    keep = np.zeros(len(seconds), bool)
    keep[[0, -1]] = True
    open_spans = [(0, len(seconds) - 1)]
    while open_spans:
        first, last = open_spans.pop()
        if last - first < 2:
            continue
        off = _off_line(seconds[first : last + 1], columns[first : last + 1]) / most_off
        worst = off.max(axis=1)
        at = int(worst.argmax())
        if worst[at] > 1:
            keep[first + at] = True
            open_spans += [(first, first + at), (first + at, last)]
    return np.flatnonzero(keep)


def _off_line(seconds: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Return how far each point lies from the line between the first and the last one."""
    share = (seconds - seconds[0]) / (seconds[-1] - seconds[0])
    line = columns[0] + share[:, None] * (columns[-1] - columns[0])
    return np.abs(columns - line)
