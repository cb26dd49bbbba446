"""The heater near a temperature: against the heat model itself, and against python-control."""

import importlib
import warnings

import numpy as np
import pytest

from emberbed.heater import linear_model
from emberbed.heater.heat_model import HeatModel, Warmth, heater_of, in_balance
from emberbed.heater.linear_model import process_at, steady_power
from emberbed.heater.model_parameters import ZERO_C_K
from tests.host.heater.made_heater import FULL_POWER_W, LABEL_PRINTER
from tests.support.parts import need_python_module

HEATER = heater_of({"drive_exponent": 1.0, **LABEL_PRINTER}, FULL_POWER_W)


@pytest.mark.parametrize("at_c", [60.0, 120.0, 150.0])
def test_a_small_step_of_power(at_c):
    """The step response of the process is that of the whole model, for a small step."""
    process = process_at(HEATER, at_c)
    warmth, heat_w = in_balance(HEATER, np.array([at_c + ZERO_C_K]))
    by, step_s = 0.002, 0.25  # part of full power
    model = HeatModel(HEATER, Warmth(*warmth), step_s)
    rise_c = []
    for _ in range(8000):
        model.step(heat_w + by * FULL_POWER_W)
        rise_c.append(float(model.warmth.sensor_k[0]) - at_c - ZERO_C_K)
    seconds = step_s * np.arange(1, 8001)
    expected = by * step_response(process, seconds)
    assert np.array(rise_c) == pytest.approx(expected, abs=0.01 * by * process.gain)
    assert steady_power(HEATER, at_c) == pytest.approx(float(heat_w[0]) / FULL_POWER_W)


def step_response(process, seconds):
    """Return the response without the reading's delay, by partial fractions."""
    lags, (lead,) = np.array(process.lags_s), process.leads_s
    found = np.ones_like(seconds)
    lags[-1] *= 1.001  # the halves of the sensor's lag are equal, and a residue needs them apart
    for n, lag in enumerate(lags):
        others = np.delete(lags, n)
        # residue at s = -1/lag of (lead s + 1) / s prod(lag s + 1)
        found += -(1 - lead / lag) / np.prod(1 - others / lag) * np.exp(-seconds / lag)
    return process.gain * found


def test_watts_do_not_matter():
    """In parts of full power, a heater is the same whatever its watts."""
    relative = heater_of({"drive_exponent": 1.0, **LABEL_PRINTER}, 1.0)
    assert process_at(relative, 120.0).lags_s == pytest.approx(process_at(HEATER, 120.0).lags_s)
    assert process_at(relative, 120.0).gain == pytest.approx(process_at(HEATER, 120.0).gain)


def test_hotter_is_quicker():
    # radiation: conductances go with the cube of the temperature
    cool, hot = process_at(HEATER, 60.0), process_at(HEATER, 150.0)
    assert hot.gain < cool.gain
    assert max(hot.lags_s) < max(cool.lags_s)


@pytest.mark.parametrize("at_c", [60.0, 150.0])
def test_poles_zero_and_gain_against_python_control(at_c):
    need_python_module("control", "pip install control")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own imports
        control = importlib.import_module("control")
    states = linear_model._jacobian(HEATER, at_c)
    pushed = np.array([[FULL_POWER_W / HEATER.emitter_j_k], [0], [0], [0], [0]])
    system = control.ss(states, pushed, [[0, 0, 0, 0, 1.0]], 0)
    process = process_at(HEATER, at_c)
    assert sorted(-1 / control.poles(system).real) == pytest.approx(sorted(process.lags_s))
    (zero,) = control.zeros(system)
    assert -1 / zero.real == pytest.approx(process.leads_s[0], rel=1e-6)
    assert float(control.dcgain(system)) == pytest.approx(process.gain)


# as identified on the simulated quartz heater: two of its lags meet near 110 degC
MEETING = {
    "emitter_full_power_k": 900.1, "emitter_lag_s": 28.93, "emitter_air_share": 0.3274,
    "emitter_share": 0.6738, "board_capacity_s_per_k": 0.1963, "board_lag_s": 90.83,
    "board_radiated_share": 0.382, "surroundings_rise_k": 281.5, "surroundings_lag_s": 188.7,
    "sensor_lag_s": 1.211, "room_c": 23.0, "drive_exponent": 1.0,
}  # fmt: skip


@pytest.mark.parametrize("at_c", [60.0, 105.0, 110.0, 120.0, 150.0])
def test_lags_that_meet_stay_what_they_are(at_c):
    """Also where two eigenvalues leave the real axis: by the whole frequency response."""
    heater = heater_of(MEETING, 1.0)
    states = linear_model._jacobian(heater, at_c)
    pushed = np.array([1 / heater.emitter_j_k, 0, 0, 0, 0])
    process = process_at(heater, at_c)._replace(delay_s=0.0)
    rad_s = np.geomspace(1e-4, 10, 60)
    exact = np.array([np.linalg.solve(1j * w * np.eye(5) - states, pushed)[4] for w in rad_s])
    assert process.response(rad_s) == pytest.approx(exact, rel=2e-3)
    assert np.prod(process.lags_s) == pytest.approx(-1 / np.linalg.det(states), rel=1e-9)


def test_a_pair_hardly_swings():
    """What `process_at` takes for two equal lags: eigenvalues next to the real axis."""
    damping = []
    for at_c in np.arange(50.0, 200.0, 5.0):
        values = np.linalg.eigvals(linear_model._jacobian(heater_of(MEETING, 1.0), at_c))
        damping.append(min(-value.real / abs(value) for value in values))
    assert 0.998 < min(damping) < 1  # there is one, and it is no swing
