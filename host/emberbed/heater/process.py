"""A process as control books write it, and its reduction to one or two lags by the half rule.

gain * (leads) e^(-delay s) / (lags), every lead and lag as (T s + 1); a negative lead is a zero in
the right half plane. Half rule: S. Skogestad, J. Process Control 13 (2003) 291-309; the rules for
positive leads are from the same paper, from memory.
"""

from typing import NamedTuple

import numpy as np

SLOW = 5.0  # times the delay: from here on a lag is as good as an integrator
NEAR = 1.6  # a lead this little slower than a lag cancels that lag rather than a slower one
ROUNDING = 1e-9  # 0.08 / 0.05 is no less than 1.6


class Process(NamedTuple):
    """`lags_s` longest first."""

    gain: float
    lags_s: tuple[float, ...]
    delay_s: float = 0.0
    leads_s: tuple[float, ...] = ()

    def response(self, rad_s: np.ndarray) -> np.ndarray:
        """Return the complex gain at these frequencies, the delay exactly."""
        s = 1j * np.asarray(rad_s, float)
        found = self.gain * np.exp(-s * self.delay_s)
        for lead_s in self.leads_s:
            found = found * (lead_s * s + 1)
        for lag_s in self.lags_s:
            found = found / (lag_s * s + 1)
        return found


def half_rule(process: Process, order: int, sample_s: float = 0.0) -> Process:
    """Return the process with `order` (1 or 2) lags; what is dropped becomes delay."""
    process = _without_leads(process)
    kept, rest = list(process.lags_s[:order]), process.lags_s[order:]
    if rest:
        kept[-1] += rest[0] / 2
    delay_s = _delay_s(process, order) + sample_s / 2
    return Process(process.gain, tuple(kept), delay_s)


def _delay_s(process: Process, order: int = 1) -> float:
    """Return the delay that stands for everything but `order` lags, positive leads left out."""
    rest = sorted(process.lags_s, reverse=True)[order:]
    backwards = sum(-lead_s for lead_s in process.leads_s if lead_s < 0)
    return process.delay_s + backwards + (rest[0] / 2 + sum(rest[1:]) if rest else 0.0)


def _without_leads(process: Process) -> Process:
    """Let each positive lead go up in a lag of its neighbourhood, the slowest lead first."""
    for lead_s in sorted((lead_s for lead_s in process.leads_s if lead_s > 0), reverse=True):
        lag_s = _partner_s(lead_s, process.lags_s)
        leads_s, lags_s = list(process.leads_s), list(process.lags_s)
        leads_s.remove(lead_s)
        lags_s.remove(lag_s)
        bare = process._replace(leads_s=tuple(leads_s), lags_s=tuple(lags_s))
        factor, left_s = _together(lead_s, lag_s, _delay_s(bare))
        lags_s += [left_s] if left_s > 0 else []
        process = bare._replace(
            gain=process.gain * factor, lags_s=tuple(sorted(lags_s, reverse=True))
        )
    return process._replace(lags_s=tuple(sorted(process.lags_s, reverse=True)))


def _partner_s(lead_s: float, lags_s: tuple[float, ...]) -> float:
    """Return the lag that a lead acts against: the next slower one, or a faster one near by."""
    slower = min((lag_s for lag_s in lags_s if lag_s >= lead_s), default=np.inf)
    faster = max((lag_s for lag_s in lags_s if lag_s < lead_s), default=0.0)
    if faster > 0 and lead_s / faster < min(NEAR, slower / lead_s) - ROUNDING:
        return faster
    return faster if slower == np.inf else slower


def _together(lead_s: float, lag_s: float, delay_s: float) -> tuple[float, float]:
    """Return (factor, lag) that stand for (lead s + 1) / (lag s + 1)."""
    if lead_s >= lag_s:
        return max(lead_s, delay_s) / max(lag_s, delay_s), 0.0
    if lead_s >= SLOW * delay_s:
        return lead_s / lag_s, 0.0
    near_s = max(min(lag_s, SLOW * delay_s), lead_s)
    return near_s / lag_s, near_s - lead_s
