"""Published rules against numbers that were worked out elsewhere from the published formulas.

Sources of the formulas: Ziegler and Nichols 1942; Cohen and Coon 1953; Tyreus and Luyben 1992;
Skogestad 2003 (J. Process Control 13, 291-309); Astrom and Hagglund, Advanced PID Control (2006)
and, for the relay, Automatica 20 (1984) 645-651. The numbers were computed outside this project.
"""

import numpy as np
import pytest

from emberbed.heater import tuning_rules as rules
from emberbed.heater.margins import ultimate
from emberbed.heater.process import Process, half_rule

K1_TAU1_TH1 = Process(1.0, (1.0,), 1.0)
K1_TAU10_TH1 = Process(1.0, (10.0,), 1.0)
K1_TAU10_TH2 = Process(1.0, (10.0,), 2.0)
K2_TAU120_TH12 = Process(2.0, (120.0,), 12.0)
THREE_LAGS, FOUR_LAGS = Process(1.0, (1.0,) * 3), Process(1.0, (1.0,) * 4)
# process, ultimate gain and period, Z-N PID, T-L PID, T-L PI
FROM_THE_SWING = [
    (THREE_LAGS, (8, 3.6276), (4.8, 1.8138, 0.45345), (3.636, 7.981, 0.5758), (2.5, 7.981)),
    (FOUR_LAGS, (4, 6.2832), (2.4, 3.1416, 0.7854), (1.818, 13.823, 0.9973), (1.25, 13.823)),
    (K1_TAU1_TH1, (2.2618, 3.0971), (1.3571, 1.5485, 0.3871), (1.0281, 6.8135, 0.4916),
     (0.7068, 6.8135)),
    (K1_TAU10_TH1, (16.3506, 3.8500), (9.8103, 1.9250, 0.4813), (7.4321, 8.4700, 0.6111),
     (5.1095, 8.4700)),
    (K1_TAU10_TH2, (8.5024, 7.4415), (5.1015, 3.7208, 0.9302), (3.8647, 16.3713, 1.1812),
     (2.6570, 16.3713)),
    (K2_TAU120_TH12, (8.1753, 46.200), (4.9052, 23.100, 5.7750), (3.7160, 101.64, 7.3333),
     (2.5548, 101.64)),
]  # fmt: skip
# process, Z-N step PID, Cohen-Coon PI and PID, SIMC PI, AMIGO PI and PID
FROM_ONE_LAG = [
    (K1_TAU1_TH1, (1.2, 2, 0.5), (0.98333, 1.13793), (1.58333, 1.80952, 0.30769), (0.5, 1),
     (0.25, 1.0), (0.65, 1.09091, 0.38462)),
    (K1_TAU10_TH1, (12, 2, 0.5), (9.08333, 2.75455), (13.58333, 2.36232, 0.35714), (5, 8),
     (2.82355, 6.07687), (4.7, 4.2, 0.48544)),
    (K1_TAU10_TH2, (6, 4, 1), (4.58333, 4.70769), (6.91667, 4.54795, 0.70175), (2.5, 10),
     (1.20556, 7.76522), (2.45, 5.86667, 0.94340)),
    (K2_TAU120_TH12, (6, 24, 6), (4.54167, 33.05455), (6.79167, 28.34783, 4.28571), (2.5, 96),
     (1.41178, 72.9225), (2.35, 50.4, 5.82524)),
]  # fmt: skip


def near(gains, expected, rel=3e-4):
    return tuple(gains)[: len(expected)] == pytest.approx(expected, rel=rel)


@pytest.mark.parametrize(("process", "swing", "zn_pid", "tl_pid", "tl_pi"), FROM_THE_SWING)
def test_from_the_ultimate_point(process, swing, zn_pid, tl_pid, tl_pi):
    found = ultimate(process)
    assert near(found, swing, 2e-5 if swing[0] > 10 else 5e-5)
    assert near(rules.ziegler_nichols_pid(found), zn_pid)
    assert near(rules.tyreus_luyben_pid(found), tl_pid)
    assert near(rules.tyreus_luyben_pi(found), tl_pi)
    assert near(rules.ziegler_nichols_pi(found), (0.45 * swing[0], swing[1] / 1.2))


@pytest.mark.parametrize(
    ("process", "zn_step", "cc_pi", "cc_pid", "simc", "amigo_pi", "amigo_pid"), FROM_ONE_LAG
)
def test_from_one_lag(process, zn_step, cc_pi, cc_pid, simc, amigo_pi, amigo_pid):
    assert near(rules.ziegler_nichols_step_pid(process), zn_step)
    assert near(rules.cohen_coon_pi(process), cc_pi, 2e-5)
    assert near(rules.cohen_coon_pid(process), cc_pid, 2e-5)
    assert near(rules.simc_pi(process), simc)
    assert near(rules.amigo_pi(process), amigo_pi, 2e-5)
    assert near(rules.amigo_pid(process), amigo_pid, 2e-5)
    gain, (lag_s,), delay_s, _leads = process
    step_pi = rules.ziegler_nichols_step_pi(process)
    assert near(step_pi, (0.9 * lag_s / (gain * delay_s), 3.33 * delay_s), 2e-3)


def test_pid_gains_from_the_swing_in_parallel_form():
    # algebra: with Kp = 0.6 Ku, Ki = 1.2 Ku/Pu and Kd = 0.075 Ku Pu; some libraries have it wrong
    gains = rules.ziegler_nichols_pid(rules.Ultimate(10.0, 4.0))
    assert gains.kc / gains.ti_s == pytest.approx(1.2 * 10 / 4)
    assert gains.kc * gains.td_s == pytest.approx(0.075 * 10 * 4)


def test_amigo_setpoint_weight():
    # from memory: 0 where the lag dominates, 1 where the delay does
    assert rules.amigo_pi(K1_TAU10_TH1).weight == 0
    assert rules.amigo_pid(Process(1.0, (1.0,), 2.0)).weight == 1


def test_cascade_to_ideal_is_the_same_controller():
    ideal = rules.ideal_of_cascade(1.2987, 2.0, 1.2)
    assert near(ideal, (2.0779, 3.2, 0.75), 1e-4)
    s = 0.7j
    cascade = 1.2987 * (1 + 1 / (2 * s)) * (1 + 1.2 * s)
    assert ideal.kc * (1 + 1 / (ideal.ti_s * s) + ideal.td_s * s) == pytest.approx(cascade)


# The half rule. The first is Skogestad's published example, as in his course notes.
PUBLISHED = Process(1.0, (2, 1, 0.4, 0.2, 0.05, 0.05, 0.05), 0.0, (-0.3, 0.08))
REDUCED = [
    (PUBLISHED, 1, (2.5,), 1.47),
    (PUBLISHED, 2, (2, 1.2), 0.77),
    (Process(1.0, (1, 0.2)), 1, (1.1,), 0.1),
    (Process(1.0, (1, 0.2, 0.04, 0.008)), 1, (1.1,), 0.148),
    (Process(1.0, (1, 0.2, 0.04, 0.008)), 2, (1, 0.22), 0.028),
    (THREE_LAGS, 1, (1.5,), 1.5),
]


@pytest.mark.parametrize(("process", "order", "lags_s", "delay_s"), REDUCED)
def test_half_rule(process, order, lags_s, delay_s):
    found = half_rule(process, order)
    assert (found.gain, found.leads_s) == (1.0, ())
    assert found.lags_s == pytest.approx(lags_s)
    assert found.delay_s == pytest.approx(delay_s)
    assert half_rule(process, order, sample_s=0.1).delay_s == pytest.approx(delay_s + 0.05)


def test_simc_from_the_half_rule():
    assert near(rules.simc_pi(half_rule(PUBLISHED, 1)), (0.8503, 2.5), 1e-4)
    assert near(rules.simc_pid(half_rule(PUBLISHED, 2)), (2.0779, 3.2, 0.75), 1e-4)
    assert near(rules.simc_pi(half_rule(REDUCED[2][0], 1)), (5.5, 0.8), 1e-4)
    assert near(rules.simc_pi(half_rule(REDUCED[3][0], 1)), (3.716, 1.1), 1e-4)
    assert near(rules.simc_pi(half_rule(THREE_LAGS, 1)), (0.5, 1.5), 1e-4)
    # cascade form 17.857, 0.224, 0.22 of the published numbers
    assert near(rules.simc_pid(half_rule(REDUCED[4][0], 2)),
                rules.ideal_of_cascade(17.857, 0.224, 0.22), 1e-4)  # fmt: skip


@pytest.mark.parametrize(
    ("lead_s", "lags_s", "delay_s", "gain", "reduced"),
    [
        # far slower than the delay: nothing but the ratio to its lag; 20 s and half of 2 s are left
        (90.0, (100.0, 20.0, 2.0), 0.0, 0.9, (21.0, 1.0)),
        # near a faster lag: that one goes; 300 s and half of 20 s are left, the rest is delay
        (105.0, (300.0, 100.0, 20.0, 2.0), 0.0, 1.05, (310.0, 12.0)),
        # of the delay's size: it shortens its lag of 1 s to 0.5 s
        (0.5, (10.0, 1.0), 0.4, 1.0, (10.25, 0.65)),
        # slower than every lag: a factor against the delay or the lag, whichever is longer
        (12.0, (10.0, 1.0), 0.4, 1.2, (1.0, 0.4)),
    ],
)
def test_positive_leads(lead_s, lags_s, delay_s, gain, reduced):
    found = half_rule(Process(1.0, lags_s, delay_s, (lead_s,)), 1)
    assert found.gain == pytest.approx(gain)
    assert (found.lags_s[0], found.delay_s) == pytest.approx(reduced)
    assert found.leads_s == ()


# The relay. Closed form for one lag with delay: half swing K d (1 - e^(-th/tau)), period
# 2 tau ln(2 e^(th/tau) - 1).
RELAY = [
    (K1_TAU10_TH1, 0.09516, 3.8181, 13.380),
    (K1_TAU10_TH2, 0.18127, 7.3318, 7.0240),
    (K1_TAU1_TH1, 0.63212, 2.9798, 2.0142),
    (K2_TAU120_TH12, 0.19033, 45.817, 6.6898),
]


def relay_swing(process, steps=4000):
    """Return (half swing, period) of a simulated relay loop, in exact steps."""
    gain, (lag_s,), delay_s, _leads = process
    step_s = delay_s / steps
    keeps = np.exp(-step_s / lag_s)
    level, reading, waiting = 1.0, 0.0, [1.0] * steps
    readings, turns = [], []
    while len(turns) < 9:
        reading = reading * keeps + gain * waiting[len(readings) % steps] * (1 - keeps)
        waiting[len(readings) % steps] = level
        readings.append(reading)
        if reading * level > 0:
            level = -level
            turns.append(len(readings))
    last = readings[turns[-3] : turns[-1]]
    return (max(last) - min(last)) / 2, (turns[-1] - turns[-3]) * step_s


@pytest.mark.parametrize(("process", "half_swing", "period_s", "gain"), RELAY)
def test_relay(process, half_swing, period_s, gain):
    assert relay_swing(process) == pytest.approx((half_swing, period_s), rel=2e-3)
    assert rules.relay_gain(1.0, half_swing) == pytest.approx(gain, rel=1e-4)
    true = ultimate(process).gain
    assert gain < true and gain / true == pytest.approx(0.84, abs=0.06)  # its known error


def test_relay_by_hand():
    # 4 / pi; and with a hysteresis of 0.6 of the swing, sqrt(1 - 0.36) = 0.8
    assert rules.relay_gain(1.0, 1.0) == pytest.approx(1.27324, rel=1e-5)
    assert rules.relay_gain(0.5, 2.0) == pytest.approx(0.31831, rel=1e-5)
    assert rules.relay_gain(1.0, 1.0, 0.6) == pytest.approx(1.27324 / 0.8, rel=1e-5)


# Step responses of the loop: overshoot, 2 % settling time, integral of the absolute error; computed
# outside this project with full setpoint weight and no saturation.
K1_TAU100_TH10 = Process(1.0, (100.0,), 10.0)
STEPS = [
    (K1_TAU100_TH10, rules.simc_pi(K1_TAU100_TH10), (5, 80), 8.2, 99.9, 25.0),
    (K1_TAU100_TH10, rules.amigo_pi(K1_TAU100_TH10), (2.8236, 60.769), 8.8, 201.7, 38.7),
    (K1_TAU100_TH10, rules.ziegler_nichols_pi(ultimate(K1_TAU100_TH10)), (7.358, 32.08), 56.6,
     None, None),
    (K1_TAU10_TH2, rules.simc_pi(K1_TAU10_TH2), (2.5, 10), 4.1, 12.1, 4.34),
]  # fmt: skip


def step_of_loop(process, gains, step_s=0.01, until_s=400.0):
    """Return (seconds, reading) after a step of the setpoint by 1; a PI, the process exactly."""
    gain, (lag_s,), delay_s, _leads = process
    keeps = np.exp(-step_s / lag_s)
    waiting = [0.0] * round(delay_s / step_s)
    reading = summed = 0.0
    readings = []
    for _ in range(round(until_s / step_s)):
        readings.append(reading)
        error = 1 - reading
        waiting.append(gains.kc * (error + summed / gains.ti_s))
        summed += error * step_s
        reading = reading * keeps + gain * waiting.pop(0) * (1 - keeps)
    return step_s * np.arange(len(readings)), np.array(readings)


@pytest.mark.parametrize(("process", "gains", "expected", "over", "settled_s", "iae"), STEPS)
def test_step_of_the_loop(process, gains, expected, over, settled_s, iae):
    assert near(gains, expected, 1e-3)
    seconds, readings = step_of_loop(process, gains)
    assert 100 * (readings.max() - 1) == pytest.approx(over, rel=0.03)
    if settled_s is not None:
        outside = np.abs(readings - 1) > 0.02
        assert seconds[outside][-1] == pytest.approx(settled_s, rel=0.03)
        assert np.abs(readings - 1).sum() * seconds[1] == pytest.approx(iae, rel=0.03)
