"""Rows on an even grid keep their heat and their temperature."""

import numpy as np
import pytest

from emberbed.heater.step_data import grid_step_s, to_grid
from tests.host.heater.made_heater import measured

FAST_S = np.arange(0, 600, 0.1)


def switched(part):
    """A relay that is on for `part` of each second."""
    return np.where(np.round(FAST_S % 1.0, 6) < part, 12.0, 0.0)


def test_even_rows_stay_as_they_are():
    rows = measured(FAST_S[:300], switched(0.3)[:300], 20 + FAST_S[:300])
    step_s = grid_step_s(rows, 1000)
    grid = to_grid(rows, 12.0, step_s)
    assert step_s == pytest.approx(0.1)
    assert grid.celsius == pytest.approx(rows.temperature_c)
    heat = grid.heat(np.array([1.0, 1.7]))
    assert heat[:, 0] == pytest.approx(rows.drive[:-1] / 12)
    assert heat[:, 1] == pytest.approx(rows.drive[:-1] / 12)


@pytest.mark.parametrize("exponent", [1.0, 1.6, 2.0])
def test_a_switched_drive_is_averaged_as_heat(exponent):
    # on for 0.3 of the time is 0.3 of the heat, whatever the power law of the drive
    grid = to_grid(measured(FAST_S, switched(0.3), 20 + FAST_S), 12.0, 5.0)
    assert grid.heat(np.array([exponent]))[:, 0] == pytest.approx(0.3, abs=1e-6)


def test_a_long_file_gets_coarser_steps():
    rows = measured(FAST_S, switched(0.3), 20 + FAST_S)
    step_s = grid_step_s(rows, 100)
    grid = to_grid(rows, 12.0, step_s)
    assert len(grid.shares) <= 100 and step_s == pytest.approx(6.0)
    inside = slice(1, -1)
    assert grid.celsius[inside] == pytest.approx(20 + grid.seconds[inside], abs=0.06)


def test_averaging_takes_noise_away():
    noise = np.random.default_rng(1).normal(0, 1, len(FAST_S))
    grid = to_grid(measured(FAST_S, switched(0.3), 50 + noise), 12.0, 6.0)
    assert grid.celsius[1:-1].std() == pytest.approx(1 / np.sqrt(60), rel=0.3)


def test_many_levels():
    ramp = measured(FAST_S, FAST_S / 600 * 12, 20 + FAST_S)
    grid = to_grid(ramp, 12.0, 1.0)
    assert len(grid.levels) == 64
    middles = (grid.seconds[1:] + grid.seconds[:-1]) / 2 / 600
    assert grid.heat(np.array([1.0]))[:, 0] == pytest.approx(middles, abs=2e-3)
    assert grid.heat(np.array([1.8]))[:, 0] == pytest.approx(middles**1.8, abs=3e-3)


def test_uneven_rows_keep_their_heat():
    chance = np.random.default_rng(2)
    seconds = np.cumsum(chance.uniform(0.5, 1.5, 400))
    drive = chance.choice([0.0, 4.0, 12.0], 400)
    grid = to_grid(measured(seconds, drive, 20 + seconds), 12.0, 3.0)
    whole = np.interp(grid.seconds[-1], seconds, np.r_[0, np.cumsum(drive[:-1] * np.diff(seconds))])
    assert grid.heat(np.array([1.0])).sum() * 3.0 * 12 == pytest.approx(whole)
    assert grid.celsius == pytest.approx(20 + grid.seconds, abs=0.8)
