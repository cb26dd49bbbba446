"""How far a loop is from swinging: its own frequency sweep, every delay exact.

Works on any open loop given as a function of frequency that is stable but for one integrator.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from emberbed.heater.process import Process
from emberbed.heater.tuning_rules import Ideal, Ultimate

Loop = Callable[[np.ndarray], np.ndarray]
POINTS = 3000
FILTER_N = 10.0  # derivative filter: td / N


class Margins(NamedTuple):
    """`ms` largest sensitivity; how much more `gain` and lag `phase_deg` until the loop swings.

    A loop that swings by itself has `ms` infinite and the `gain` (below 1) that would calm it; no
    crossing at all is an infinite margin.
    """

    ms: float
    gain: float
    phase_deg: float
    stable: bool


def ideal_response(gains: Ideal, rad_s: np.ndarray, filter_n: float = FILTER_N) -> np.ndarray:
    """Return the controller's complex gain, its derivative filtered."""
    s = 1j * np.asarray(rad_s, float)
    derivative = gains.td_s * s / (1 + gains.td_s / filter_n * s)
    return gains.kc * (1 + 1 / (gains.ti_s * s) + derivative)


def loop_of(process: Process, gains: Ideal) -> Loop:
    """Return the open loop of a process and an ideal controller."""
    return lambda rad_s: process.response(rad_s) * ideal_response(gains, rad_s)


def band(process: Process) -> tuple[float, float]:
    """Return the frequencies (rad/s) between which a process can do anything worth seeing."""
    slowest_s = max([process.delay_s, *process.lags_s])
    fastest_s = max(process.delay_s, min(process.lags_s) / 10)
    return 1e-3 / slowest_s, 100 / fastest_s


def margins(loop: Loop, low_rad_s: float, high_rad_s: float) -> Margins:
    """Sweep the open loop between two frequencies."""
    rad_s = np.geomspace(low_rad_s, high_rad_s, POINTS)
    value = loop(rad_s)
    gain, outside = _gain_margin(loop, rad_s, value)
    stable = outside == 0
    return Margins(
        _ms(loop, rad_s, value) if stable else np.inf,
        gain,
        _phase_margin_deg(loop, rad_s, value),
        stable,
    )


def ultimate(process: Process) -> Ultimate:
    """Return the exact ultimate point: where the process alone turns by half a circle."""
    rad_s = np.geomspace(*band(process), POINTS)
    turned = np.unwrap(np.angle(process.response(rad_s))) + np.pi
    if not (turned < 0).any():
        raise ValueError("this process never turns by half a circle, so no gain makes it swing")
    past = int(np.argmax(turned < 0))
    found = _zero(
        lambda w: float(np.angle(-_at(process.response, w))), rad_s[past - 1], rad_s[past]
    )
    return Ultimate(1 / abs(_at(process.response, found)), 2 * np.pi / found)


def _ms(loop: Loop, rad_s: np.ndarray, value: np.ndarray) -> float:
    peak = int(np.argmin(np.abs(1 + value)))
    low, high = rad_s[max(peak - 1, 0)], rad_s[min(peak + 1, len(rad_s) - 1)]
    nearest = minimize_scalar(
        lambda at: abs(1 + _at(loop, at)), bounds=(low, high), method="bounded"
    )
    return float(1 / min(nearest.fun, np.abs(1 + value[peak])))


def _at(loop: Loop, rad_s: float) -> complex:
    return complex(loop(np.array([rad_s]))[0])


def _zero(function: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(function, low, high, xtol=1e-14))  # type: ignore[arg-type]


def _gain_margin(loop: Loop, rad_s: np.ndarray, value: np.ndarray) -> tuple[float, int]:
    """Return the least margin, and how often the curve winds around -1 beyond it."""
    across = np.imag(value)
    crossings = (np.diff(np.sign(across)) != 0) & (np.real(value)[:-1] < 0)
    factors, outside = [], 0
    for at in np.flatnonzero(crossings):
        if across[at] == 0:
            continue
        size = abs(_at(loop, _zero(lambda w: _at(loop, w).imag, rad_s[at], rad_s[at + 1])))
        factors.append(float(1 / size))
        if size > 1:
            outside += 1 if across[at] < 0 else -1
    if outside == 0:
        return min((one for one in factors if one > 1), default=np.inf), outside
    return max((one for one in factors if one < 1), default=0.0), outside


def _phase_margin_deg(loop: Loop, rad_s: np.ndarray, value: np.ndarray) -> float:
    size = np.abs(value) - 1
    found = []
    for at in np.flatnonzero(np.diff(np.sign(size)) != 0):
        crossing = _zero(lambda w: abs(_at(loop, w)) - 1, rad_s[at], rad_s[at + 1])
        found.append(np.degrees(np.angle(-_at(loop, crossing))))
    return float(min(found, key=abs, default=np.inf))
