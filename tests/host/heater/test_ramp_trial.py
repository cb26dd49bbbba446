"""The trial's controller against the firmware's, and figures that can be told by hand."""

import numpy as np
import pytest

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import TICK_S, held
from emberbed.heater.heat_model import HeatModel, Warmth, heater_of, in_balance
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.heater.ramp_trial import RAMP_C, Trial, ramp_rate, ramp_trial
from emberbed_fw.units import FULL_POWER_Q15
from tests.host.heater.made_heater import FULL_POWER_W, LABEL_PRINTER
from tests.host.heater.test_device_gains import firmware

HEATER = heater_of({"drive_exponent": 1.0, **LABEL_PRINTER}, FULL_POWER_W)
GAINS = (
    held(Gains(0.1, 0.0004, 2.0, 1.0, 5, 300)),
    held(Gains(0.02, 0.0002, 0.0, 1.0, 0, 0)),
    held(Gains(0.3, 0.004, 1.0, 1.0, 4, 100)),  # saturates: the integral must stand still
)
TO_C = 120.0


@pytest.fixture(scope="module")
def trial():
    return ramp_trial(HEATER, GAINS, TO_C)


@pytest.mark.parametrize("column", range(len(GAINS)))
def test_like_the_firmware(trial, column):
    """The same heater under emberbed_fw.pid, in integers of 0.01 degC and 1/32768 of power."""
    gains = GAINS[column]
    warmth, heat_w = in_balance(HEATER, np.array([TO_C - RAMP_C + ZERO_C_K]))
    model = HeatModel(HEATER, Warmth(*warmth), TICK_S)
    pid = firmware(gains)
    pid.reset(round(100 * (TO_C - RAMP_C)))
    pid.integral_q14 = round(float(heat_w[0]) / FULL_POWER_W * FULL_POWER_Q15) << 14
    rate = ramp_rate(HEATER, TO_C)
    found = []
    for second, wanted_c in zip(trial.seconds, trial.setpoint_c, strict=True):
        reading_c = float(model.warmth.sensor_k[0]) - ZERO_C_K
        found.append(reading_c)
        ramps = second + gains.preview_ticks * TICK_S < RAMP_C / rate
        slope_q6 = round(100 * rate * TICK_S * 64) if ramps else 0
        pid.step(round(100 * wanted_c), slope_q6, round(100 * reading_c), 0, True, 0,
                 FULL_POWER_Q15)  # fmt: skip
        model.step(pid.demand_q15 / FULL_POWER_Q15 * FULL_POWER_W)
    assert np.abs(trial.board_c[:, column] - found).max() < 0.15


def test_it_saturates_and_settles(trial):
    assert trial.power.min() == 0.0 or trial.power.max() == 1.0
    assert ((trial.power >= 0) & (trial.power <= 1)).all()
    assert trial.setpoint_c[0] == TO_C - RAMP_C and trial.setpoint_c[-1] == TO_C
    assert trial.board_c[0] == pytest.approx([TO_C - RAMP_C] * 3, abs=1e-6)


def test_figures_by_hand():
    seconds = TICK_S * np.arange(4)
    board_c = np.array([[10.0, 9.0], [11.0, 9.0], [12.5, 10.0], [11.0, 10.5]])
    made = Trial(seconds, np.array([10.0, 11.0, 11.0, 11.0]), board_c, board_c * 0)
    assert made.overshoot_c == pytest.approx([1.5, 0.0])
    assert made.iae_c_s == pytest.approx([0.15, 0.45])


def test_a_slow_heater_is_asked_for_less():
    heavy = heater_of({"drive_exponent": 1.0, **LABEL_PRINTER, "board_capacity_s_per_k": 1.2}, 1.0)
    assert ramp_rate(heavy, 120.0) < ramp_rate(HEATER, 120.0) <= 0.6
