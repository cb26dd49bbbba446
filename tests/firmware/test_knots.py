"""The line through a plan's knots, and the lead that climbs to it."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw import knots
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.lead import AHEAD_CDEG, CDEG_PER_TICK, Lead

steps = st.lists(st.tuples(st.integers(1, 3000), st.integers(-3000, 3000)), min_size=1, max_size=6)


class Line:
    """A plan that has knots and nothing else."""

    def __init__(self, *points):
        self.knot = {"tick": [t for t, _c in points], "setpoint_cdeg": [c for _t, c in points]}
        self.last = len(points) - 1


def through(rises, start=5000):
    points = [(0, start)]
    for ticks, rise in rises:
        points.append((points[-1][0] + ticks, points[-1][1] + rise))
    return Line(*points)


def exact(line, tick):
    """Return the line's value in fractions, apart from the firmware."""
    ticks, setpoints = line.knot["tick"], line.knot["setpoint_cdeg"]
    for here in range(line.last):
        if ticks[here] <= tick <= ticks[here + 1]:
            share = Fraction(tick - ticks[here], ticks[here + 1] - ticks[here])
            return setpoints[here] + share * (setpoints[here + 1] - setpoints[here])
    return Fraction(setpoints[line.last])


@given(steps, st.data())
def test_setpoint_is_on_the_line(rises, data):
    line = through(rises)
    tick = data.draw(st.integers(0, line.knot["tick"][-1]))
    knot = knots.knot_at(line, 0, line.last, tick)
    assert line.knot["tick"][knot] <= tick
    assert knot == line.last or tick < line.knot["tick"][knot + 1]
    assert abs(knots.setpoint_cdeg(line, knot, line.last, tick) - exact(line, tick)) <= Fraction(
        1, 2
    )


@given(steps, st.data())
def test_slope_is_the_lines(rises, data):
    line = through(rises)
    tick = data.draw(st.integers(0, line.knot["tick"][-1] - 1))
    slope = knots.slope_q6(line, 0, line.last, tick)
    assert abs(Fraction(slope, 64) - (exact(line, tick + 1) - exact(line, tick))) <= Fraction(1, 64)


@given(steps, st.data())
def test_warm_board_starts_where_the_line_passes_it(rises, data):
    up = [(ticks, abs(rise) + 1) for ticks, rise in rises]
    line = through(up)
    top = line.knot["setpoint_cdeg"][-1]
    board = data.draw(st.integers(5000, top))
    tick = knots.tick_of(line, 0, line.last, board)
    steepest = max(Fraction(rise, ticks) for ticks, rise in up)
    assert abs(exact(line, tick) - board) <= steepest


@pytest.mark.parametrize(
    ("board", "tick"), [(4000, 0), (5000, 0), (5001, 0), (6000, 50), (7000, 100), (9000, 100)]
)
def test_board_on_and_beyond_a_rising_line(board, tick):
    assert abs(knots.tick_of(Line((0, 5000), (100, 7000)), 0, 1, board) - tick) <= 1


@pytest.mark.parametrize(
    ("board", "tick"), [(8000, 0), (7000, 0), (6000, 50), (5000, 100), (0, 100)]
)
def test_board_on_and_beyond_a_falling_line(board, tick):
    assert knots.tick_of(Line((0, 7000), (100, 5000)), 0, 1, board) == tick


def test_flat_line_is_begun_at_its_end_by_a_warmer_board_only():
    line = Line((0, 6000), (100, 6000))
    assert knots.tick_of(line, 0, 1, 6000) == 0
    assert knots.tick_of(line, 0, 1, 5000) == 0
    assert knots.tick_of(line, 0, 1, 6001) == 100


def test_longest_products_are_small():
    # the steepest span that plan_check lets through
    span, rise = 38000, 14000
    assert rise * span + span // 2 <= SMALL_INT_MAX
    line = Line((0, 0), (span, rise))
    assert abs(knots.tick_of(line, 0, 1, rise - 1) - span) <= 3


# The lead.


def climb(lead, wanted, board, ticks, before=None):
    """Return what a lead gives, tick by tick; `board` is a function of the tick."""
    given = []
    for tick in range(ticks):
        before = lead.give(wanted, board(tick), before if before is not None else board(0), 0)
        given.append(before)
    return given


@pytest.mark.parametrize(
    ("before", "slope_q6", "wanted"),
    [(9000, 0, 9000), (9000, 0, 9000 + CDEG_PER_TICK), (9000, 0, 2500), (9000, 10 * 64, 9010),
     (9000, -10 * 64, 8990)],
)  # fmt: skip
def test_gentle_plan_is_followed(before, slope_q6, wanted):
    lead = Lead()
    assert lead.give(wanted, 2500, before, slope_q6) == wanted and not lead.climbs()


def test_step_up_to_where_the_board_is_is_followed():
    lead = Lead()
    assert lead.give(9000, 9100, 6000, 0) == 9000 and not lead.climbs()


@pytest.mark.parametrize(("before", "board", "start"), [(6000, 5900, 6000), (6000, 6500, 6500)])
def test_step_up_is_climbed_from_the_setpoint_or_the_warmer_board(before, board, start):
    lead = Lead()
    assert lead.give(9000, board, before, 0) == start + CDEG_PER_TICK and lead.climbs()


def test_lead_climbs_at_its_rate_and_is_then_free():
    lead = Lead()
    lead.begin(6000)
    given = climb(lead, 6100, lambda tick: 6000 + 4 * tick, 40)
    assert given[:3] == [6000 + CDEG_PER_TICK * n for n in (1, 2, 3)]
    assert given[24:] == [6100] * 16 and not lead.climbs()


def test_lead_waits_for_the_board():
    lead = Lead()
    lead.begin(6000)
    given = climb(lead, 9000, lambda _tick: 6000, 1000)
    assert given[-1] == 6000 + AHEAD_CDEG
    assert lead.give(9000, 6100, given[-1], 0) == given[-1] + CDEG_PER_TICK


def test_lead_that_begins_above_what_is_wanted_is_free_at_once():
    lead = Lead()
    lead.begin(9000)
    assert lead.give(6000, 9000, 9000, 0) == 6000 and not lead.climbs()


def test_slope_of_the_lead_is_known_ahead_until_it_arrives():
    lead = Lead()
    lead.begin(6000)
    assert lead.slope_q6(6100, 0, 0) == lead.slope_q6(6100, 24, 0) == CDEG_PER_TICK * 64
    assert lead.slope_q6(6100, 25, 0) == 0
    assert lead.slope_q6(6100, 24, 384) == CDEG_PER_TICK * 64 + 384
    assert lead.slope_q6(6100, 25, 384) == 384


def test_lead_catches_up_with_a_plan_that_rises_faster():
    """A corner whose two sides were rounded differently must not slow the ramp that follows."""
    lead = Lead()
    wanted, before, slope_q6 = 6050, 6000, 10 * 64  # 1 degC a second
    for _ in range(13):
        before = lead.give(wanted, 6000, before, slope_q6)
        wanted += 10
    assert not lead.climbs() and before == wanted - 10
