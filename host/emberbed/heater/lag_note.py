"""Why rules for one lag give small gains on a heater: what is simply true of it, as a sentence.

An emitter is nearly as slow as a board. A rule for one lag has no room for it, so the half rule
counts half of it as dead time; and a PI, which cannot make up for a lag, is slow anyway.
"""

from collections.abc import Sequence

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import TICK_S
from emberbed.heater.process import Process, half_rule
from emberbed.heater.tune import MOST_MS, Tuning, worst_margins

LARGEST_GAIN = 10.0  # per K: full power for a tenth of a degree
_HALVINGS = 24


def lag_note(tuning: Tuning) -> str | None:
    """Return the sentence, None for a heater whose second lag is no longer than its dead time.

    There SIMC's author advises derivative: J. Process Control 13 (2003) 291-309.
    """
    at_c, process = max(
        zip(tuning.working_c, tuning.processes, strict=True),
        key=lambda one: half_rule(one[1], 1, TICK_S).delay_s,
    )
    one, two = half_rule(process, 1, TICK_S), half_rule(process, 2, TICK_S)
    (first_s, second_s) = two.lags_s
    if second_s <= two.delay_s:
        return None
    most = most_without_derivative(tuning.processes)
    return (
        f"At {at_c:g} °C this heater has two long lags, {first_s:.0f} and {second_s:.0f} s. Rules"
        f" for one lag (SIMC PI, AMIGO) count {one.delay_s:.0f} s of them as dead time, so their"
        f" gains are small. No PI could be much quicker: without derivative no Kp above"
        f" {most:.2g} stays within an Ms of {MOST_MS:g}."
    )


def most_without_derivative(processes: Sequence[Process]) -> float:
    """Return the largest proportional gain, alone, whose worst Ms is at most MOST_MS.

    An integral turns the loop further, so that no PI has a larger one.
    """
    low, high = 0.0, LARGEST_GAIN
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        calm = worst_margins(processes, _proportional(middle)).ms <= MOST_MS
        low, high = (middle, high) if calm else (low, middle)
    return low


def _proportional(kp_per_k: float) -> Gains:
    return Gains(kp_per_k, 0.0, 0.0, filter_shift=0, preview_ticks=0)
