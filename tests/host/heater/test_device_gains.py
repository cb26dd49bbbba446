"""Gains as the device holds them, against the firmware's own controller tick by tick."""

import numpy as np
import pytest

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import (
    TICK_S,
    controller_response,
    device_gains,
    held,
    refusal,
)
from emberbed.heater.tuning_rules import Ideal
from emberbed_fw.pid import Pid
from emberbed_fw.plan import MAX_KD_Q4, MAX_KI_Q14, MAX_KP_Q8
from emberbed_fw.units import FULL_POWER_Q15


def firmware(gains):
    header = {
        "kp0_q8": gains.kp_q8(), "ki0_q14": gains.ki_q14(), "kd0_q4": gains.kd_q4(),
        "weight0_q8": round(256 * gains.setpoint_weight), "cap0_q15": FULL_POWER_Q15,
        "filter0_shift": gains.filter_shift,
    }  # fmt: skip
    return Pid(header, 0)


@pytest.mark.parametrize("period_s", [40.0, 12.0, 5.0])
@pytest.mark.parametrize(
    "gains",
    [Gains(0.05, 0.002, 0.0, 1.0, 0, 0), Gains(0.02, 0.0005, 0.4, 1.0, 4, 0), Gains(0.06, 0, 0.2)],
)
def test_response_is_the_firmwares(gains, period_s):
    """Swing the reading about 120 degC; amplitude and phase of the demand are as computed."""
    pid = firmware(gains)
    pid.reset(12000)
    ticks = round(period_s / TICK_S)
    swing_cdeg, turns = 150, 60
    demands = []
    for tick in range(turns * ticks):
        reading = 12000 + round(swing_cdeg * np.sin(2 * np.pi * tick / ticks))
        pid.step(12000, 0, reading, FULL_POWER_Q15 // 2, True, 0, FULL_POWER_Q15)
        demands.append(pid.demand_q15 / FULL_POWER_Q15)
    last = np.array(demands[-8 * ticks :])
    assert last.min() > 0 and last.max() < 1  # nothing is saturated
    wave = np.exp(-2j * np.pi * np.arange(len(last)) / ticks)
    found = 2j * (last * wave).mean() / (swing_cdeg / 100)
    rad_s = 2 * np.pi / period_s
    turned = 1j * rad_s * TICK_S
    expected = controller_response(held(gains), np.array([rad_s]))[0]
    expected /= (1 - np.exp(-turned)) / turned  # the hold comes after the controller
    assert -found == pytest.approx(expected, abs=0.03 * abs(expected))


def test_rounding():
    gains = Gains(0.0123456, 0.000123456, 1.23456)
    left = held(gains)
    assert left[:3] == pytest.approx(gains[:3], rel=0.01)
    assert (left.kp_q8(), left.ki_q14(), left.kd_q4()) == (
        gains.kp_q8(), gains.ki_q14(), gains.kd_q4(),
    )  # fmt: skip
    assert held(left) == left


@pytest.mark.parametrize(
    ("gains", "reason"),
    [
        (Gains(), None),
        (Gains(0.05, 0.0, 0.0), None),
        (Gains(ki_per_k_s=1e-6), "Ki is too small for the device's integers"),
        (Gains(kp_per_k=1e-5), "Kp is too small for the device's integers"),
        (Gains(kd_s_per_k=1e-5), "Kd is too small for the device's integers"),
        (Gains(kp_per_k=1.19), "Kp is 2.0 times the most the device holds"),
        (Gains(ki_per_k_s=0.028), "Ki is 3.0 times the most the device holds"),
        (Gains(kd_s_per_k=38.4), "Kd is 2.0 times the most the device holds"),
    ],
)
def test_what_the_device_takes(gains, reason):
    assert refusal(gains) == reason
    fits = gains.kp_q8() <= MAX_KP_Q8 and gains.ki_q14() <= MAX_KI_Q14
    fits = fits and gains.kd_q4() <= MAX_KD_Q4
    assert fits == (reason is None or "small" in reason)


def test_from_a_rule():
    gains = device_gains(Ideal(0.08, 40.0, 12.0, 0.0), 30.0)
    assert gains[:3] == pytest.approx((0.08, 0.002, 0.96))
    assert gains.setpoint_weight == 1.0  # setpoints are ramps
    assert gains.preview_ticks == 300
    # a converter step of 0.25 degC may move the power by a fifth: 0.96 * 0.25 / 0.2 = 1.2 s
    assert gains.filter_shift == 4
    assert device_gains(Ideal(0.08, 40.0), 30.0)[2:] == (0.0, 1.0, 0, 0)
    slow = device_gains(Ideal(0.001, 400.0, 80.0), 30.0)  # td / 10 = 8 s
    assert slow.filter_shift == 6
