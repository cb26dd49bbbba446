"""Published tuning rules: a process with one or two lags in, gains of the ideal form out.

u = kc (e + 1/ti int e + td de/dt). The formulas as published; their worked numbers are tests.
"""

from math import pi, sqrt
from typing import NamedTuple

from emberbed.heater.process import Process


class Ideal(NamedTuple):
    """Gains of the ideal form; `td_s` = 0 is a PI. `weight` of the setpoint in the P part."""

    kc: float
    ti_s: float
    td_s: float = 0.0
    weight: float = 1.0


class Ultimate(NamedTuple):
    """The gain at which a loop just keeps swinging, and the period of that swing."""

    gain: float
    period_s: float


def _one_lag(process: Process) -> tuple[float, float, float]:
    """Return gain, lag and delay of a process that was reduced to one lag."""
    (lag_s,) = process.lags_s
    return process.gain, lag_s, process.delay_s


def simc_pi(process: Process, closed_s: float | None = None) -> Ideal:
    """Skogestad 2003, one lag; `closed_s` is the wanted closed-loop lag, if not given the delay."""
    gain, lag_s, delay_s = _one_lag(process)
    reach_s = (delay_s if closed_s is None else closed_s) + delay_s
    return Ideal(lag_s / (gain * reach_s), min(lag_s, 4 * reach_s))


def simc_pid(process: Process, closed_s: float | None = None) -> Ideal:
    """Skogestad 2003, two lags: cascade form, turned into the ideal one."""
    lag_s, second_s = process.lags_s
    pi_part = simc_pi(process._replace(lags_s=(lag_s,)), closed_s)
    return ideal_of_cascade(pi_part.kc, pi_part.ti_s, second_s)


def ideal_of_cascade(kc: float, ti_s: float, td_s: float) -> Ideal:
    """Turn kc (1 + 1/(ti s)) (1 + td s) into the ideal form."""
    factor = 1 + td_s / ti_s
    return Ideal(kc * factor, ti_s * factor, td_s / factor)


def amigo_pi(process: Process) -> Ideal:
    """Astrom and Hagglund, Advanced PID Control (2006)."""
    gain, lag_s, delay_s = _one_lag(process)
    share = 0.35 - delay_s * lag_s / (delay_s + lag_s) ** 2
    kc = 0.15 / gain + share * lag_s / (gain * delay_s)
    below = lag_s**2 + 12 * delay_s * lag_s + 7 * delay_s**2
    ti_s = 0.35 * delay_s + 13 * delay_s * lag_s**2 / below
    return Ideal(kc, ti_s, 0.0, _amigo_weight(process))


def amigo_pid(process: Process) -> Ideal:
    """The same book, with derivative."""
    gain, lag_s, delay_s = _one_lag(process)
    return Ideal(
        (0.2 + 0.45 * lag_s / delay_s) / gain,
        delay_s * (0.4 * delay_s + 0.8 * lag_s) / (delay_s + 0.1 * lag_s),
        0.5 * delay_s * lag_s / (0.3 * delay_s + lag_s),
        _amigo_weight(process),
    )


def _amigo_weight(process: Process) -> float:
    _gain, lag_s, delay_s = _one_lag(process)
    return 0.0 if delay_s / (delay_s + lag_s) < 0.5 else 1.0


def ziegler_nichols_pi(swing: Ultimate) -> Ideal:
    """Ziegler and Nichols 1942, from the ultimate point."""
    return Ideal(0.45 * swing.gain, swing.period_s / 1.2)


def ziegler_nichols_pid(swing: Ultimate) -> Ideal:
    """The same, with derivative."""
    return Ideal(0.6 * swing.gain, swing.period_s / 2, swing.period_s / 8)


def ziegler_nichols_step_pi(process: Process) -> Ideal:
    """Ziegler and Nichols 1942, from the step response."""
    gain, lag_s, delay_s = _one_lag(process)
    return Ideal(0.9 * lag_s / (gain * delay_s), delay_s / 0.3)


def ziegler_nichols_step_pid(process: Process) -> Ideal:
    """The same, with derivative."""
    gain, lag_s, delay_s = _one_lag(process)
    return Ideal(1.2 * lag_s / (gain * delay_s), 2 * delay_s, 0.5 * delay_s)


def tyreus_luyben_pi(swing: Ultimate) -> Ideal:
    """Tyreus and Luyben 1992, from the ultimate point."""
    return Ideal(swing.gain / 3.2, 2.2 * swing.period_s)


def tyreus_luyben_pid(swing: Ultimate) -> Ideal:
    """The same, with derivative."""
    return Ideal(swing.gain / 2.2, 2.2 * swing.period_s, swing.period_s / 6.3)


def cohen_coon_pi(process: Process) -> Ideal:
    """Cohen and Coon 1953."""
    gain, lag_s, delay_s = _one_lag(process)
    ratio = delay_s / lag_s
    kc = lag_s / (gain * delay_s) * (0.9 + ratio / 12)
    return Ideal(kc, delay_s * (30 + 3 * ratio) / (9 + 20 * ratio))


def cohen_coon_pid(process: Process) -> Ideal:
    """The same, with derivative."""
    gain, lag_s, delay_s = _one_lag(process)
    ratio = delay_s / lag_s
    return Ideal(
        lag_s / (gain * delay_s) * (4 / 3 + ratio / 4),
        delay_s * (32 + 6 * ratio) / (13 + 8 * ratio),
        4 * delay_s / (11 + 2 * ratio),
    )


def relay_gain(half_output: float, half_swing: float, hysteresis: float = 0.0) -> float:
    """Astrom and Hagglund 1984: the ultimate gain that a relay experiment shows.

    `half_output` of the relay's step, `half_swing` of the reading from peak to peak. It is an
    estimate by the first harmonic: on one lag with delay it comes out 10 to 20 % low.
    """
    return 4 * half_output / (pi * sqrt(half_swing**2 - hysteresis**2))
