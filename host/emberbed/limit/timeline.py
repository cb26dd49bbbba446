"""What the stages of a profile ask for in time, in even steps, when nothing waits.

Waits for a person are drawn with WAIT_SHOWN_S. `Timeline` has the reading that is asked for at the
end of each step; `begins_s` says when each stage begins. Cooling is no part of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from emberbed.limit.optimum import Wanted
from emberbed.profiles.model import Cool, Ramp
from emberbed.profiles.nominal import WAIT_SHOWN_S
from emberbed.profiles.timing import Span
from emberbed_fw.units import TICKS_PER_S

STEP_S = 1.0
MOST_STEPS = 500  # a longer profile is planned in longer steps


@dataclass(frozen=True)
class Timeline:
    """One profile; `ends_s` of the steps, levels in degC."""

    spans: Sequence[Span]  # the cooling left out
    start_c: float
    begins_s: np.ndarray  # by span, and the end of the last one
    step_s: float

    @property
    def steps(self) -> int:
        return int(self.begins_s[-1] / self.step_s)

    @property
    def ends_s(self) -> np.ndarray:
        return self.step_s * np.arange(1, self.steps + 1)

    def pieces(self) -> list[slice]:
        """Return the steps between persons: up to the end of each wait, and from there on. Nobody
        knows when a wait ends, so nothing can be done in it for what follows."""
        waits = [number for number, span in enumerate(self.spans) if not span.planned_ticks]
        ends = {min(round(self.begins_s[number + 1] / self.step_s), self.steps) for number in waits}
        cuts = sorted({0, *ends, self.steps})
        return [slice(first, last) for first, last in pairwise(cuts)]

    def wanted(self, overshoot_c: float) -> Wanted:
        """Return it for the optimum; on plateaus no more than `overshoot_c` beyond them."""
        levels_c = [self.start_c, *(span.to_cdeg / 100 for span in self.spans)]
        asked_c = np.interp(self.ends_s, self.begins_s, levels_c)
        number = np.searchsorted(self.begins_s, self.ends_s) - 1
        flat = np.array([not isinstance(span.stage, Ramp) for span in self.spans])[number]
        return Wanted(self.step_s, asked_c, np.where(flat, asked_c + overshoot_c, np.inf))


def timeline(spans: Sequence[Span], start_c: float) -> Timeline:
    """Return the timeline of a run that begins at `start_c`."""
    heating = [span for span in spans if not isinstance(span.stage, Cool)]
    level_c, lengths_s = start_c, []
    for span in heating:
        lengths_s.append(_length_s(span, abs(span.to_cdeg / 100 - level_c)))
        level_c = span.to_cdeg / 100
    step_s = step_of(sum(lengths_s))
    begins_s = [0.0]
    for span, length_s in zip(heating, lengths_s, strict=True):
        end_s = begins_s[-1] + length_s
        # a wait may as well end with a step: so what follows it begins with one
        begins_s.append(end_s if span.planned_ticks else float(step_s * np.ceil(end_s / step_s)))
    return Timeline(heating, start_c, np.array(begins_s), step_s)


def step_of(length_s: float) -> float:
    """Return the steps in which so long a course is planned."""
    return max(STEP_S, float(np.ceil(2 * length_s / MOST_STEPS) / 2))


def _length_s(span: Span, way_c: float) -> float:
    """Return how long a stage takes; a ramp that begins elsewhere than planned keeps its rate."""
    if not span.planned_ticks:
        return WAIT_SHOWN_S
    if not isinstance(span.stage, Ramp):
        return span.planned_ticks / TICKS_PER_S
    planned_c = abs(span.to_cdeg - span.from_cdeg) / 100
    return max(way_c / max(planned_c, 0.01) * span.planned_ticks, 1) / TICKS_PER_S
