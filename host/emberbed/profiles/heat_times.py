"""How long a profile keeps the board where, by its own plan: seconds in a window, and a heat dose.

Takes the spans of `timing`; degrees C and s. A wait takes as long as a person takes and counts as
nothing here; hot air is counted where it is asked for, at what the board under the chip then has.
"""

from collections.abc import Iterator, Sequence
from math import exp, inf, log

from emberbed.profiles.limits import AIR_BOARD_C, DOSE_AT_C, DOSE_FROM_C, DOSE_HALF, DOSE_WHOLE
from emberbed.profiles.model import Cool, HotAir
from emberbed.profiles.timing import Span
from emberbed_fw.units import TICKS_PER_S

ZERO_C_K = 273.15
_STEP_C = 1.0  # a ramp is counted in pieces of this


def seconds_within(spans: Sequence[Span], low_c: float, high_c: float = inf) -> float:
    """Return the planned seconds between two temperatures, before any hot air and the cooling."""
    total = 0.0
    for span in spans:
        if isinstance(span.stage, HotAir | Cool):
            break
        total += _share_within(span, low_c, high_c) * span.planned_ticks / TICKS_PER_S
    return total


def planned_s(spans: Sequence[Span]) -> float:
    """Return the planned seconds until the hot air, or to the cooling."""
    return seconds_within(spans, -inf)


def dose_min(spans: Sequence[Span]) -> float:
    """Return the minutes at DOSE_AT_C that weigh as much as all of the profile's heat."""
    seconds = 0.0
    for span in spans:
        if isinstance(span.stage, HotAir):
            seconds += weight(AIR_BOARD_C.value) * span.longest_ticks / TICKS_PER_S
        elif not isinstance(span.stage, Cool):
            levels = list(_levels(span))
            each_s = span.planned_ticks / TICKS_PER_S / len(levels)
            seconds += sum(weight(level_c) for level_c in levels) * each_s
    return seconds / 60


def weight(board_c: float) -> float:
    """Return what a minute at `board_c` weighs against one at DOSE_AT_C.

    Arrhenius' law through the minutes that one laminate lasts at 260 and 288 degC; the way down to
    the temperatures of a bench is an extrapolation that errs on the heavy side. Nothing below
    DOSE_FROM_C.
    """
    if board_c < DOSE_FROM_C:
        return 0.0
    hot_k, hotter_k = DOSE_AT_C + ZERO_C_K, DOSE_HALF.at_c + ZERO_C_K
    slope_k = log(DOSE_WHOLE.minutes / DOSE_HALF.minutes) / (1 / hot_k - 1 / hotter_k)
    return exp(slope_k * (1 / hot_k - 1 / (board_c + ZERO_C_K)))


def _levels(span: Span) -> Iterator[float]:
    """Yield temperatures over a span, equally long each."""
    first_c, last_c = span.from_cdeg / 100, span.to_cdeg / 100
    count = max(1, round(abs(last_c - first_c) / _STEP_C))
    for number in range(count):
        yield first_c + (last_c - first_c) * (number + 0.5) / count


def _share_within(span: Span, low_c: float, high_c: float) -> float:
    """Return which part of a span lies between two temperatures, both counted in."""
    first_c, last_c = sorted((span.from_cdeg / 100, span.to_cdeg / 100))
    if first_c == last_c:
        return 1.0 if low_c <= first_c <= high_c else 0.0
    return max(0.0, min(high_c, last_c) - max(low_c, first_c)) / (last_c - first_c)
