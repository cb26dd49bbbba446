"""How fast a temperature rises and falls: least-squares slopes over a sliding window.

Takes seconds and degrees C in time order, readings only; gives degrees C per second. A window is a
fixed number of readings; where some are missing it would be longer than asked for, and is left out.
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

WINDOW_S = 10.0
READINGS_PER_S = 10
_SPAN_TOLERANCE_S = 0.5
_CHUNK = 4096  # windows worked on at a time: a 24 h run has 864,000


def window_slopes(seconds: np.ndarray, celsius: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (seconds at the middle, slope in C per s) of every whole window of WINDOW_S."""
    size = round(WINDOW_S * READINGS_PER_S) + 1
    if len(seconds) < size:
        return np.empty(0), np.empty(0)
    times = sliding_window_view(seconds, size)
    readings = sliding_window_view(celsius, size)
    parts = [
        _slopes(times[first : first + _CHUNK], readings[first : first + _CHUNK])
        for first in range(0, len(times), _CHUNK)
    ]
    middles = (times[:, 0] + times[:, -1]) / 2
    whole = np.abs(times[:, -1] - times[:, 0] - WINDOW_S) <= _SPAN_TOLERANCE_S
    return middles[whole], np.concatenate(parts)[whole]


def _slopes(times: np.ndarray, readings: np.ndarray) -> np.ndarray:
    centred = times - times.mean(axis=1, keepdims=True)
    return (centred * readings).sum(axis=1) / (centred**2).sum(axis=1)
