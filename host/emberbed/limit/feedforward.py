"""The power that a profile needs on an identified heater, and the temperatures it leads to.

`planner_for` gives the compiler's planner: the best course of the whole run (optimum.py), cut at
the stages and thinned to knots. A ramp that the heater cannot follow becomes as long as it needs
(bench/with_heater tells it from the plan). Setpoints follow what will be, not what was wished, so
that the feedback mends only what is unforeseen; they never leave the target's band where a stage
waits for it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from emberbed.limit.identified_heater import IdentifiedHeater
from emberbed.limit.optimum import Heater, Optimum, Wanted, best_power
from emberbed.limit.thinning import kept_points
from emberbed.limit.timeline import Timeline, timeline
from emberbed.profiles.model import Hold, Profile, Ramp
from emberbed.profiles.planned import Planned
from emberbed.profiles.stage_rows import Knot
from emberbed.profiles.timing import Span, spans
from emberbed.profiles.tool_power import Socket
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.plan import MAX_KNOTS
from emberbed_fw.units import FULL_POWER_Q15, TICKS_PER_S

OVERSHOOT_C = 0.6  # planned into a plateau: what is unforeseen comes on top
SMOOTH_C = 1.0  # power without jumps: few knots, and room for the feedback on both sides
# emitters go on heating after their power: with none of it planned at the end of a ramp and in a
# hold, nothing could be taken back from a board that comes too hot
LEAST_POWER = 0.01  # of full
CORNER_C = 3.0  # further behind than foretold, a ramp waits for the board
LATE_C = 8.0  # behind at a ramp's end: the ramp cannot be followed
MOST_STRETCHES = 6
LASTS_S = 120.0  # a wait whose end nobody knows, beyond the one that is drawn
START_ROOM_C = 0.5  # a cold reading beyond the first setpoint would skip what follows it
OF_ITS_BAND = 0.9  # a hold counts inside its band: setpoints stay inside, with little of a jump
LINES_C, LINES_POWER = 0.1, 0.01  # how far the lines between knots may lie off
KNOT_ROOM = 0.9  # of the knots that a plan holds


@dataclass(frozen=True)
class Course:
    """The planned run: its timeline as stretched, the optimum, and what the thinning costs."""

    line: Timeline
    spans: list[Span]
    optimum: Optimum
    courses: Mapping[int, Sequence[Knot]]
    off_c: float  # largest distance of a setpoint from its line
    off_power: float  # rms, in parts of full


@lru_cache(maxsize=4)
def planner_for(
    numbers: tuple[tuple[str, float], ...], start_c: float
) -> Callable[[Profile, Socket], Planned]:
    """Return the compiler's planner for a heater file's numbers and a board at `start_c`."""

    found: dict[tuple[str, float], Planned] = {}  # one heater is asked for the same run repeatedly

    def plan(profile: Profile, socket: Socket) -> Planned:
        asked = profile.model_dump_json(), socket.power_cap
        if asked not in found:
            course = course_of(dict(numbers), profile, start_c, socket.power_cap)
            found[asked] = Planned(course.spans, course.courses)
        return found[asked]

    return plan


def course_of(
    values: Mapping[str, float], profile: Profile, start_c: float, power_cap: float
) -> Course:
    """Plan a profile for a heater with a board and a room of `start_c`."""
    stretched = spans(profile)
    for _time in range(MOST_STRETCHES):
        line = timeline(stretched, start_c)
        best = _best(values, line, power_cap)
        late = _late(line, best)
        if not late:
            break
        stretched = [_longer(span, late.get(span.index, 1.0)) for span in stretched]
    return _thinned(line, [_open_ended(span, line, best) for span in stretched], best)


def _best(values: Mapping[str, float], line: Timeline, power_cap: float) -> Optimum:
    """Return the best course that leaves the feedback some room."""
    heater = IdentifiedHeater(values, line.start_c, line.step_s)
    least = least_power([span.to_cdeg for span in line.spans])
    wanted, warmth = line.wanted(OVERSHOOT_C), heater.at_rest()
    power, reading_c = np.empty(line.steps), np.empty(line.steps)
    for piece in line.pieces():
        best = best_above(heater.beginning(warmth), _lasting(wanted, piece), power_cap, least)
        length = piece.stop - piece.start
        power[piece], reading_c[piece] = best.power[:length], best.reading_c[:length]
        warmth = heater.after(warmth, power[piece])
    return Optimum(wanted, power, reading_c)


def _lasting(wanted: Wanted, piece: slice) -> Wanted:
    """Return what a piece asks for; one that ends with a wait lasts longer, so that its end is no
    other than what is before it."""
    longer = 0 if piece.stop == wanted.steps else round(LASTS_S / wanted.step_s)
    rows = np.minimum(np.arange(piece.start, piece.stop + longer), piece.stop - 1)
    return Wanted(wanted.step_s, wanted.reading_c[rows], wanted.most_c[rows])


def least_power(levels: Sequence[float]) -> float:
    """Return what is always planned where no level is below the one before it, in parts of full."""
    falls = any(one < before for before, one in pairwise(levels))
    return 0.0 if falls else LEAST_POWER


def best_above(heater: Heater, asked: Wanted, power_cap: float, least: float = 0.0) -> Optimum:
    """Return the best smooth course with a power from `least` to the cap."""
    best = best_power(lambda over: heater(over + least), asked, power_cap - least, SMOOTH_C)
    return replace(best, power=best.power + least)


def _open_ended(span: Span, line: Timeline, best: Optimum) -> Span:
    """Let a ramp end where it is foretold to end: the corner is rounded, and its hold goes on."""
    if not isinstance(span.stage, Ramp):
        return span
    number = [one.index for one in line.spans].index(span.index)
    behind_c = abs(span.to_cdeg / 100 - float(_at(line, best, line.begins_s[number + 1])))
    band_c = max(span.stage.band_c, behind_c + CORNER_C)
    return replace(span, stage=span.stage.model_copy(update={"band_c": band_c}))


def _late(line: Timeline, best: Optimum) -> dict[int, float]:
    """Return by stage number by what factor a ramp has to be longer."""
    read_c = np.interp(line.begins_s[1:], best.seconds, best.reading_c)
    starts_c = [line.start_c, *(span.to_cdeg / 100 for span in line.spans)]
    late = {}
    for span, from_c, reached_c in zip(line.spans, starts_c, read_c, strict=False):
        way_c = span.to_cdeg / 100 - from_c
        behind_c = np.sign(way_c) * (span.to_cdeg / 100 - reached_c)
        if isinstance(span.stage, Ramp) and behind_c > LATE_C:
            late[span.index] = 1 + min(behind_c / max(abs(way_c) - behind_c, 0.2 * abs(way_c)), 2.0)
    return late


def _longer(span: Span, factor: float) -> Span:
    return replace(
        span,
        planned_ticks=round(span.planned_ticks * factor),
        longest_ticks=round(span.longest_ticks * factor),
    )


def _thinned(line: Timeline, stretched: list[Span], best: Optimum) -> Course:
    """Cut the course at the stages; thin it until a plan holds all of it."""
    coarser = 1.0
    while True:
        most_off = coarser * np.array([LINES_C, LINES_POWER])
        pieces = {
            span.index: _knots(line, best, number, most_off)
            for number, span in enumerate(line.spans)
        }
        if sum(len(knots) for knots, _off in pieces.values()) <= KNOT_ROOM * MAX_KNOTS:
            break
        coarser *= 1.3
    off = np.vstack([off for _knots_, off in pieces.values()])
    return Course(
        line,
        stretched,
        best,
        {index: knots for index, (knots, _off) in pieces.items()},
        float(off[:, 0].max()),
        float(np.sqrt(np.mean(off[:, 1] ** 2))),
    )


def _knots(
    line: Timeline, best: Optimum, number: int, most_off: np.ndarray
) -> tuple[list[Knot], np.ndarray]:
    """Return the knots of one stage, and how far its points lie off their lines."""
    span, begins_s = line.spans[number], line.begins_s[number]
    length_s = line.begins_s[number + 1] - begins_s
    inside_s = np.unique(np.append(np.arange(0.0, length_s, line.step_s / 2), length_s))
    at_s = begins_s + inside_s
    from_c = line.start_c if number == 0 else line.spans[number - 1].to_cdeg / 100
    columns = np.column_stack(
        [
            _setpoints_c(
                span, from_c, _beyond_c(line, number), _at(line, best, begins_s + inside_s)
            ),
            _power_at(line, best, number, at_s),
        ]
    )
    if not span.planned_ticks:  # a wait has one knot: what holds it in the end
        inside_s, columns = inside_s[:1], np.array([[span.to_cdeg / 100, columns[-1, 1]]])
    kept = kept_points(inside_s, columns, most_off) if len(inside_s) > 1 else np.array([0])
    lines = np.column_stack(
        [np.interp(inside_s, inside_s[kept], column[kept]) for column in columns.T]
    )
    knots = {}
    for at in kept:
        tick = round(float(inside_s[at]) * TICKS_PER_S)
        setpoint_c, power = columns[at]
        knots[tick] = Knot(
            tick, round(float(setpoint_c) * 100), round(float(power) * FULL_POWER_Q15)
        )
    return _split(list(knots.values())), np.abs(columns - lines)


def _at(line: Timeline, best: Optimum, seconds: np.ndarray | float) -> np.ndarray:
    """Return the foretold reading at these times."""
    times_s, read_c = np.append(0.0, best.seconds), np.append(line.start_c, best.reading_c)
    return np.asarray(np.interp(seconds, times_s, read_c))


def _power_at(line: Timeline, best: Optimum, number: int, at_s: np.ndarray) -> np.ndarray:
    """Return the power at these times of a stage: at a wait's end nothing of what follows it."""
    last_step = min(round(line.begins_s[number + 1] / line.step_s), line.steps)
    piece = next(one for one in line.pieces() if one.stop >= last_step)
    middles_s = best.seconds[piece] - line.step_s / 2
    return np.interp(at_s, middles_s, best.power[piece])


def _beyond_c(line: Timeline, number: int) -> float:
    """Return how far a stage's setpoint may go: to its target, or where the next one ramps to."""
    following = line.spans[number + 1 : number + 2]
    ramps_on = following and isinstance(following[0].stage, Ramp)
    return (following[0] if ramps_on else line.spans[number]).to_cdeg / 100


def _setpoints_c(span: Span, from_c: float, beyond_c: float, foretold_c: np.ndarray) -> np.ndarray:
    """Return the setpoints of a stage: the foretold readings where its own rules allow them."""
    target_c, stage = span.to_cdeg / 100, span.stage
    if not isinstance(stage, (Ramp, Hold)):
        return np.full(len(foretold_c), target_c)
    if isinstance(stage, Hold):
        least_c = target_c - OF_ITS_BAND * stage.band_c
        return np.clip(foretold_c, least_c, max(target_c, beyond_c))
    low_c = min(from_c, target_c)
    if span.index == 0:
        low_c += START_ROOM_C
    high_c = max(from_c, target_c, beyond_c if target_c >= from_c else target_c)
    setpoint_c = np.clip(foretold_c, low_c, high_c)
    forward = np.maximum if target_c >= from_c else np.minimum
    return forward.accumulate(setpoint_c)


def _split(knots: list[Knot]) -> list[Knot]:
    """Put knots between those that are too far apart for the tick's small integers."""
    found = knots[:1]
    for knot in knots[1:]:
        found += _between(found[-1], knot)
    return found


def _between(knot: Knot, following: Knot) -> list[Knot]:
    """Return what leads from a knot to the following one, that one the last."""
    span = following.tick - knot.tick
    rises = (
        following.setpoint_cdeg - knot.setpoint_cdeg,
        following.feedforward0_q15 - knot.feedforward0_q15,
    )
    if max(abs(rise) for rise in rises) * span <= SMALL_INT_MAX // 2:
        return [following]
    middle = Knot(*((one + other) // 2 for one, other in zip(knot, following, strict=True)))
    return [*_between(knot, middle), *_between(middle, following)]
