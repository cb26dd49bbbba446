"""When a reading stands still, and where solder froze."""

from math import exp

import numpy as np
import pytest

from emberbed.calibration import steadiness as st
from emberbed.calibration.steadiness import SteadyWindow, find_plateau


def followed(course, seconds=60.0, noise_k=0.1):
    """Return a window that has seen a course, read in steps of a quarter degree."""
    noise = np.random.default_rng(3)
    window = SteadyWindow()
    for tick in range(round(seconds * 10)):
        read_c = course(tick / 10) + noise.normal(0, noise_k)
        window.add(tick / 10, round(read_c * 4) / 4)
    return window


def test_a_bath_is_steady_after_a_whole_window():
    assert followed(lambda _s: 99.3).steady
    assert not followed(lambda _s: 99.3, seconds=st.WINDOW_S - 1).steady


@pytest.mark.parametrize(
    ("course", "noise_k", "words"),
    [
        (lambda s: 0.6 / 60 * s, 0.1, "it moves by"),
        (lambda s: 20 * exp(-s / 40), 0.1, "it moves by"),
        (lambda _s: 99.3, 0.8, "it scatters by"),
    ],
)
def test_what_moves_or_jumps_is_not(course, noise_k, words):
    window = followed(course, noise_k=noise_k)
    assert not window.steady
    assert words in window.course.doubt()


def test_slow_enough_is_steady():
    assert followed(lambda s: 99 + 0.15 / 60 * s).steady


def test_a_lost_reading_begins_the_window_anew():
    window = followed(lambda _s: 0.0)
    window.add(60.0, None)
    assert not window.steady and window.course is None


def drop(seconds, freezes_c=183.0, stands_s=20.0, undercooled_k=0.0):
    """Return (s, degC) of a drop of solder: falls by 45 K/min, stands, falls."""
    readings = []
    reaches_s = (30.0 + undercooled_k) / 0.75
    for tick in range(round(seconds * 10)):
        at_s = tick / 10
        if at_s < reaches_s:
            celsius = freezes_c + 30 - 0.75 * at_s
        elif at_s < reaches_s + stands_s:
            celsius = freezes_c
        else:
            celsius = freezes_c - 0.75 * (at_s - reaches_s - stands_s)
        readings.append((at_s, round(celsius * 4) / 4))
    return readings


@pytest.mark.parametrize("undercooled_k", [0.0, 8.0])  # tin undercools, then jumps up
def test_the_plateau_of_freezing_solder(undercooled_k):
    found = find_plateau(drop(120, undercooled_k=undercooled_k), 183.0)
    assert found is not None
    assert found.mean_c == pytest.approx(183.0, abs=0.15)


@pytest.mark.parametrize(
    "readings",
    [
        drop(120, stands_s=2.0),  # too short to be one
        drop(120, freezes_c=221.0),  # another solder
        [(tick / 10, 183.0) for tick in range(1200)],  # never liquid
        drop(55),  # not yet solid
        [(0.0, 20.0), (0.1, 20.0)],
    ],
)
def test_what_is_no_plateau(readings):
    assert find_plateau(readings, 183.0) is None
