"""The line through the points, its uncertainty, and what is refused as nonsense."""

import numpy as np
import pytest

from emberbed.bench.prepare import NotReady
from emberbed.calibration.line import Point, fit, line_through, standard_at
from emberbed.calibration.on_device import with_line
from emberbed.device_description import decode_settings
from emberbed_fw.settings import settings_fit
from tests.support.plans import bench_settings

# JCGM 100:2008 (GUM), H.3, table H.6: a thermometer's readings and corrections, degC; from memory
GUM_T = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
GUM_B = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def point(name, true_c, read_c, standard_k=0.1):
    return Point(name, true_c, read_c, standard_k)


def test_the_worked_two_points():
    """Ice read as 0.8, boiling water at 990 hPa as 98.9: gain 1.01249, offset -0.8100 by hand."""
    line = line_through([point("ice", 0.0, 0.8), point("boiling", 99.325, 98.9)])
    assert line.gain == pytest.approx(1.01249, abs=1 / 8192)
    assert line.offset_k == pytest.approx(-0.81, abs=0.005)
    assert line.corrected_c(217.0) == pytest.approx(218.90, abs=0.04)  # half a step of the gain
    assert line.residual_k < 0.02  # of the rounding alone


def test_the_gum_s_thermometer():
    """GUM H.3: intercept -0.1712 at 20 degC, slope 0.00218."""
    at_20, slope = fit([t - 20 for t in GUM_T], GUM_B, [1.0] * len(GUM_T))
    assert at_20 == pytest.approx(-0.1712, abs=5e-5)
    assert slope == pytest.approx(0.00218, abs=5e-6)


def test_the_line_s_uncertainty_is_that_of_many_trials():
    """JCGM 101: the spread of lines through points that are drawn."""
    true_c, standard = np.array([0.0, 99.3, 183.0]), np.array([0.09, 0.12, 0.58])
    drawn = np.random.default_rng(1).normal(true_c, standard, (20000, 3))
    lines = np.array([fit(list(true_c), list(row), list(standard)) for row in drawn])
    for at_c in (-20.0, 50.0, 250.0):
        spread = (lines[:, 0] + lines[:, 1] * at_c).std()
        assert standard_at(true_c, standard, at_c) == pytest.approx(spread, rel=0.03)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([point("ice", 0, 0)], "needs two points"),
        ([point("ice", 0, 1), point("30 °C", 30, 31)], "30 °C apart: take two at least 50 °C"),
        ([point("ice", 0, 99), point("boiling", 99, 1)], "so ice is the warmer one"),
        ([point("boiling", 99, 1), point("ice", 0, 99)], "so ice is the warmer one"),
        ([point("ice", 0, 0), point("boiling", 99, 80)], "The gain would be 1.238, outside 0.95"),
        ([point("ice", 0, 0), point("boiling", 99, 120)], "The gain would be 0.825"),
        ([point("ice", 0, 25), point("boiling", 99, 124)], "The offset would be -25.0 °C"),
        (
            [point("ice", 0, 0), point("boiling", 99, 99), point("Sn63Pb37", 183, 190, 0.2)],
            "No straight line fits: Sn63Pb37 stays",
        ),
    ],
)
def test_nonsense_is_refused(points, words):
    with pytest.raises(NotReady, match=words) as refused:
        line_through(points)
    assert len(refused.value.sentences) == 1 and "\n" not in refused.value.sentences[0]


def test_a_device_takes_the_line_and_keeps_all_else():
    line = line_through([point("ice", 0.0, 2.0), point("boiling", 99.325, 102.318)])
    before = bench_settings()
    block = with_line(before, 1, line)
    assert settings_fit(block)
    was, now = decode_settings(before), decode_settings(block)
    assert (now.channels[1].offset_cdeg, now.channels[1].gain_q12) == (-198, 4055)
    assert now.channels[0] == was.channels[0] and now.zones == was.zones
    assert now.channels[1].name == was.channels[1].name
