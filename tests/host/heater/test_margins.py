"""Margins against numbers worked out elsewhere, published bounds, and python-control."""

import importlib
import warnings

import numpy as np
import pytest

from emberbed.heater import tuning_rules as rules
from emberbed.heater.margins import band, ideal_response, loop_of, margins, ultimate
from emberbed.heater.process import Process, half_rule
from tests.host.heater.test_tuning_rules import K1_TAU10_TH1, PUBLISHED, THREE_LAGS
from tests.support.parts import need_python_module

SWING = ultimate(K1_TAU10_TH1)
# computed outside this project, derivative filter N = 10
MS_TAU10_TH1 = [
    (rules.ziegler_nichols_pid(SWING), 2.58),
    (rules.ziegler_nichols_step_pid(K1_TAU10_TH1), 4.20),
    (rules.tyreus_luyben_pid(SWING), 2.31),
    (rules.cohen_coon_pid(K1_TAU10_TH1), 4.60),
    (rules.simc_pi(K1_TAU10_TH1), 1.61),
    (rules.amigo_pi(K1_TAU10_TH1), 1.32),
    (rules.amigo_pid(K1_TAU10_TH1), 1.45),
]


@pytest.mark.parametrize(("gains", "ms"), MS_TAU10_TH1)
def test_sensitivity_of_the_rules(gains, ms):
    found = margins(loop_of(K1_TAU10_TH1, gains), *band(K1_TAU10_TH1))
    assert found.ms == pytest.approx(ms, abs=0.006)
    assert found.stable


def test_simc_on_its_own_process():
    # Skogestad 2003: L = 0.5 e^(-th s) / (th s) has Ms 1.59, gain margin pi, phase margin 61.4
    loop = lambda w: 0.5 * np.exp(-2j * w) / (2j * w)  # noqa: E731
    found = margins(loop, 1e-4, 50.0)
    assert found.ms == pytest.approx(1.590, abs=5e-4)
    assert found.gain == pytest.approx(np.pi, rel=1e-6)
    assert found.phase_deg == pytest.approx(90 - np.degrees(0.5), rel=1e-6)  # 61.35, wc th = 0.5


def test_simc_on_an_integrator():
    # the same paper: Ms 1.70, gain margin 2.96, phase margin 46.9
    gains = rules.Ideal(1 / (1.0 * 2.0), 8.0)
    found = margins(lambda w: np.exp(-1j * w) / (1j * w) * ideal_response(gains, w), 1e-4, 50.0)
    assert found.ms == pytest.approx(1.704, abs=5e-4)
    assert found.gain == pytest.approx(2.963, abs=5e-4)
    assert found.phase_deg == pytest.approx(46.9, abs=0.05)


@pytest.mark.parametrize(
    ("process", "order", "ms"),
    [
        (PUBLISHED, 1, 1.66),
        (PUBLISHED, 2, 1.74),
        (Process(1.0, (1, 0.2)), 1, 1.56),
        (Process(1.0, (1, 0.2, 0.04, 0.008)), 1, 1.59),
        (THREE_LAGS, 1, 1.43),
    ],
)
def test_simc_after_the_half_rule(process, order, ms):
    reduced = half_rule(process, order)
    gains = rules.simc_pi(reduced) if order == 1 else rules.simc_pid(reduced)
    # N = 100: these were computed with hardly any filter
    loop = lambda w: process.response(w) * ideal_response(gains, w, 100.0)  # noqa: E731
    assert margins(loop, *band(process)).ms == pytest.approx(ms, abs=0.006)


@pytest.mark.parametrize(("gains", "_ms"), MS_TAU10_TH1)
def test_bounds_of_the_sensitivity(gains, _ms):
    # textbook: gain margin >= Ms / (Ms - 1), phase margin >= 2 asin(1 / (2 Ms))
    found = margins(loop_of(K1_TAU10_TH1, gains), *band(K1_TAU10_TH1))
    assert found.gain >= found.ms / (found.ms - 1)
    assert found.phase_deg >= 2 * np.degrees(np.arcsin(1 / (2 * found.ms)))


@pytest.mark.parametrize("share", [0.5, 0.99, 1.01, 2.0])
def test_the_edge_of_swinging(share):
    for process in (K1_TAU10_TH1, THREE_LAGS, Process(3.0, (100, 20, 2), 0.1)):
        gain = share * ultimate(process).gain
        found = margins(lambda w, k=gain, p=process: k * p.response(w), *band(process))
        assert found.stable == (share < 1)
        assert found.gain == pytest.approx(1 / share, rel=1e-6)
        assert np.isinf(found.ms) == (share > 1)
        assert (found.phase_deg > 0) == (share < 1)


def test_two_lags_never_swing():
    with pytest.raises(ValueError, match="never turns by half a circle"):
        ultimate(Process(1.0, (10.0, 1.0)))
    gains = rules.Ideal(5.0, 10.0)
    assert np.isinf(margins(loop_of(Process(1.0, (10.0, 1.0)), gains), 1e-4, 1e3).gain)


def test_swinging_is_told_from_roots():
    """Against the closed loop's roots: a PI on three lags, many gains, no delay."""
    process = Process(2.0, (60.0, 15.0, 4.0))
    chance = np.random.default_rng(3)
    verdicts = set()
    for kc, ti_s in zip(chance.uniform(0.1, 30, 60), chance.uniform(1, 100, 60), strict=True):
        gains = rules.Ideal(kc, ti_s)
        below = np.poly(-1 / np.array(process.lags_s)) * np.prod(process.lags_s)
        closed = np.polyadd(np.append(below * ti_s, 0), 2.0 * kc * np.array([ti_s, 1.0]))
        stable = bool((np.roots(closed).real < 0).all())
        assert margins(loop_of(process, gains), 1e-5, 1e3).stable == stable
        verdicts.add(stable)
    assert verdicts == {True, False}


# python-control is the reference; it knows no delay, so the processes have none


@pytest.fixture(scope="module")
def control():
    need_python_module("control", "pip install control")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own imports
        return importlib.import_module("control")


def transfer(control, process):
    found = control.tf([process.gain], [1.0])
    for lead_s in process.leads_s:
        found = found * control.tf([lead_s, 1.0], [1.0])
    for lag_s in process.lags_s:
        found = found * control.tf([1.0], [lag_s, 1.0])
    return found


def ideal_transfer(control, gains, filter_n=10.0):
    s = control.tf("s")
    return gains.kc * (1 + 1 / (gains.ti_s * s) + gains.td_s * s / (1 + gains.td_s / filter_n * s))


@pytest.mark.parametrize(
    ("process", "gains"),
    [
        (Process(1.0, (80.0, 8.0, 2.0)), rules.Ideal(6.0, 60.0)),
        (Process(400.0, (500.0, 320.0, 100.0, 3.0), 0.0, (400.0,)), rules.Ideal(0.1, 120, 30)),
        (Process(150.0, (172.0, 24.0, 2.7, 1.5), 0.0, (96.0,)), rules.Ideal(0.11, 14, 2.3)),
        (Process(1.0, (1.0, 1.0, 1.0, 1.0)), rules.Ideal(1.0, 3.0, 0.5)),
    ],
)
def test_against_python_control(control, process, gains):
    loop = transfer(control, process) * ideal_transfer(control, gains)
    gain, phase_deg, stability, *_at = control.stability_margins(loop)
    found = margins(loop_of(process, gains), *band(process))
    assert found.gain == pytest.approx(gain, rel=1e-4)
    assert found.phase_deg == pytest.approx(phase_deg, abs=0.01)
    assert 1 / found.ms == pytest.approx(stability, rel=1e-3)


def test_a_delay_against_python_control(control):
    # 1.2 e^(-8s) / (80s + 1) with a PI; the delay there as a Pade approximation of 8th order
    process, gains = Process(1.2, (80.0,), 8.0), rules.Ideal(8.0, 60.0)
    pade = control.tf(*control.pade(8.0, 8))
    loop = transfer(control, process._replace(delay_s=0.0)) * pade * ideal_transfer(control, gains)
    gain, phase_deg, *_rest = control.stability_margins(loop)
    found = margins(loop_of(process, gains), *band(process))
    assert found.gain == pytest.approx(gain, rel=1e-4)
    assert found.phase_deg == pytest.approx(phase_deg, abs=0.01)
