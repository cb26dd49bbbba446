"""Where each stage starts and ends, and how long it takes and may take, in the firmware's integers.

Used by the check, the compiler and the pictures, so that all three mean the same. A ramp starts at
the level before it; the first one at START_CDEG, where a cold bench stands (the firmware jumps
ahead to the board's measured temperature).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from emberbed.profiles.limits import (
    COOLING_ALLOWANCE_S,
    LONGEST_FACTOR,
    LONGEST_SPARE_S,
    STORED_HEAT,
)
from emberbed.profiles.model import Cool, Hold, HotAir, Power, Profile, Ramp, Stage
from emberbed_fw.plan import MAX_LONGEST_TICKS
from emberbed_fw.units import TICKS_PER_S

START_CDEG = 2000


@dataclass(frozen=True)
class Span:
    """One stage: levels in hundredths of a degree C, times in ticks."""

    index: int
    stage: Stage
    from_cdeg: int
    to_cdeg: int
    planned_ticks: int  # 0 for wait, hot air and cool, which take as long as they take
    longest_ticks: int  # 0 for a cool: cooling is never cut short
    answer_ticks: int  # longest wait for the hot air before it begins, 0 for all other kinds


def to_cdeg(degrees_c: float) -> int:
    """Return a temperature or difference as hundredths of a degree."""
    return round(degrees_c * 100)


def to_ticks(seconds: float) -> int:
    """Return a time as ticks, at least one."""
    return max(1, round(seconds * TICKS_PER_S))


def spans(profile: Profile) -> list[Span]:
    """Return one Span for each stage of `profile`."""
    level = START_CDEG
    found = []
    for index, stage in enumerate(profile.stages):
        start, level = level, _level_after(stage, level)
        planned = _planned_ticks(stage, abs(level - start))
        longest, answer = _longest_ticks(stage, planned), _answer_ticks(stage)
        found.append(Span(index, stage, start, level, planned, longest, answer))
    return found


def peak_cdeg(profile: Profile) -> int:
    """Return the highest temperature the heater is asked for, or that fixed power may lead to."""
    asked = [to_cdeg(stage.to_c) for stage in profile.stages if isinstance(stage, Ramp)]
    return max(asked + [reach_cdeg(stage) for stage in profile.stages if isinstance(stage, Power)])


def reach_cdeg(stage: Power) -> int:
    """Return how hot the board may get: the heat stored by then arrives after the limit too."""
    return to_cdeg(stage.limit_c + (STORED_HEAT.value if stage.percent > 0 else 0))


def longest_run_ticks(stage_spans: list[Span]) -> int:
    """Return the longest that the run may take, with the allowance for cooling."""
    heating = sum(span.longest_ticks + span.answer_ticks for span in stage_spans)
    return heating + to_ticks(COOLING_ALLOWANCE_S)


def impossible(profile: Profile) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield (location, sentence) for all that the device would refuse or never finish."""
    stage_spans = spans(profile)
    for span in stage_spans:
        if 0 < span.longest_ticks < span.planned_ticks:
            needed = span.planned_ticks / TICKS_PER_S
            yield (
                ("stages", span.index, "longest_s"),
                f"the stage needs {needed:.0f} s by its own numbers and longest_s allows"
                f" {span.longest_ticks / TICKS_PER_S:.0f} s; write {needed * LONGEST_FACTOR:.0f}",
            )
    peak_c = peak_cdeg(profile) / 100
    if profile.ceiling_c is not None and profile.ceiling_c < peak_c:
        yield (
            ("ceiling_c",),
            f"ceiling_c = {profile.ceiling_c:g} is below the peak of {peak_c:g} °C that a ramp asks"
            f" for; write {peak_c:g} or more, or leave it out",
        )
    longest = longest_run_ticks(stage_spans)
    if longest > MAX_LONGEST_TICKS:
        slowest = max(stage_spans, key=lambda span: span.longest_ticks)
        yield (
            ("stages", slowest.index),
            f"the longest times of all stages and 2 h of cooling add up to {_hours(longest)} h and"
            f" a run lasts at most {_hours(MAX_LONGEST_TICKS)} h, of which this stage takes"
            f" {_hours(slowest.longest_ticks)} h; write a shorter longest_s here",
        )
    if stage_spans[-1].to_cdeg >= peak_cdeg(profile):
        yield (
            ("stages", len(stage_spans) - 1, "below_c"),
            "cooling would be over before it begins, because no stage is hotter than below_c;"
            f" write less than {peak_c:g} °C",
        )


def _hours(ticks: int) -> str:
    return f"{ticks / TICKS_PER_S / 3600:.1f}"


def _level_after(stage: Stage, level_cdeg: int) -> int:
    if isinstance(stage, Ramp):
        return to_cdeg(stage.to_c)
    if isinstance(stage, Power):
        return to_cdeg(stage.limit_c)
    return to_cdeg(stage.below_c) if isinstance(stage, Cool) else level_cdeg


def _planned_ticks(stage: Stage, way_cdeg: int) -> int:
    if isinstance(stage, Ramp):
        # rounded up, so that no ramp is steeper than it says
        exact = way_cdeg / 100 / stage.rate_c_per_s * TICKS_PER_S
        return max(1, ceil(exact - 1e-6))
    return to_ticks(stage.for_s) if isinstance(stage, (Hold, Power)) else 0


def _longest_ticks(stage: Stage, planned: int) -> int:
    if isinstance(stage, Cool):
        return 0
    if isinstance(stage, Power):
        return planned  # it waits for nothing
    if stage.longest_s is not None:
        return to_ticks(stage.longest_s)
    return max(round(planned * LONGEST_FACTOR), planned + to_ticks(LONGEST_SPARE_S))


def _answer_ticks(stage: Stage) -> int:
    return to_ticks(stage.start_within_s) if isinstance(stage, HotAir) else 0
