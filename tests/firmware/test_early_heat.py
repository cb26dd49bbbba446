"""What a weak heater gives early: looked for along the plan, carried towards now, no further."""

from types import SimpleNamespace

import pytest

from emberbed_fw.early_heat import GIVEN_Q8, KEPT_Q8, POINT_TICKS, POINTS, EarlyHeat
from emberbed_fw.heat_need import FACTOR_MOST_Q12, ONE_Q12
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.units import FULL_POWER_Q15 as FULL
from tests.support.plans import cool, hold, powered, ramp, wait
from tests.support.stages import run, sequencer

A_THIRD_MORE = ONE_Q12 * 4 // 3


def ahead(*planned_q15, off=0):
    """A sequencer whose plan wants these powers at the points from now on, and none after them."""
    powers = [0, *planned_q15] + [0] * POINTS
    return SimpleNamespace(
        off_plan=lambda: off,
        planned_ahead_q15=lambda _zone, ticks: powers[ticks // POINT_TICKS],
    )


def early(sequencer, factor_q12, ticks=POINTS):
    one = EarlyHeat(0, FULL)
    for _ in range(ticks):
        one.step(sequencer, factor_q12)
    return one


def test_what_is_beyond_full_power_is_carried_to_now():
    beyond = (FULL * A_THIRD_MORE >> 12) - FULL
    at_the_next_point = early(ahead(FULL), A_THIRD_MORE).power_q15
    assert at_the_next_point == beyond * GIVEN_Q8 >> 8
    just_full = ONE_Q12 * FULL // A_THIRD_MORE + 1
    carried = beyond * KEPT_Q8 >> 8
    further = early(ahead(just_full, FULL), A_THIRD_MORE).power_q15
    assert further == pytest.approx(carried * GIVEN_Q8 >> 8, abs=2)


def test_room_on_the_way_takes_it_up():
    assert early(ahead(FULL // 2, FULL), A_THIRD_MORE).power_q15 == 0


@pytest.mark.parametrize("factor_q12", [ONE_Q12, ONE_Q12 * 3 // 4])
def test_a_heater_that_needs_no_more_than_planned_gives_nothing_early(factor_q12):
    one = early(ahead(*[FULL] * POINTS), A_THIRD_MORE)
    assert one.power_q15 > 0
    one.step(ahead(*[FULL] * POINTS), factor_q12)
    assert one.power_q15 == 0


def test_a_persons_change_ends_it():
    one = early(ahead(*[FULL] * POINTS), A_THIRD_MORE)
    one.step(ahead(*[FULL] * POINTS, off=1), A_THIRD_MORE)
    assert one.power_q15 == 0


def test_the_way_ahead_is_seen_anew_all_the_time():
    one = early(ahead(FULL), A_THIRD_MORE)
    for _ in range(POINTS):
        one.step(ahead(), A_THIRD_MORE)
    assert one.power_q15 == 0


def test_numbers_stay_small():
    one = early(ahead(*[FULL] * POINTS), FACTOR_MOST_Q12)
    assert FULL * FACTOR_MOST_Q12 < SMALL_INT_MAX
    assert one.power_q15 << 8 < SMALL_INT_MAX


# Where the plan is looked at.


def looking(*stages):
    """Return what is planned at a number of ticks from the plan's beginning."""
    one = sequencer(*[powered(stage, *powers) for stage, *powers in stages])
    return lambda ticks: one.planned_ahead_q15(0, ticks)


def test_planned_power_is_seen_along_ramps_and_holds():
    planned = looking(
        (ramp(2500, 3500, 100), 10000, 20000), (hold(3500, 50), 5000, 5000),
        (ramp(3500, 4500, 100), 30000, 30000),
    )  # fmt: skip
    assert [planned(ticks) for ticks in (0, 50, 99, 100, 149)] == [10000, 15000, 19900, 5000, 5000]
    assert planned(150) == planned(249) == 30000
    assert planned(250) == planned(100000) == 0, "nothing is heated for in cooling"


def test_nothing_is_seen_beyond_a_stage_that_waits_for_a_person():
    planned = looking(
        (ramp(2500, 3500, 100), 10000, 20000), (wait(3500), 5000),
        (ramp(3500, 4500, 100), 30000, 30000),
    )  # fmt: skip
    assert planned(99) == 19900 and planned(100) == planned(150) == 0


def test_time_that_a_person_adds_to_a_hold_moves_what_follows():
    one = sequencer(
        powered(hold(2500, 50), 5000, 6000), powered(ramp(2500, 4500, 100), 30000, 30000)
    )
    run(one, 2500, 10)
    one.extend(100)
    assert one.planned_ahead_q15(0, 15) == 5500
    assert one.planned_ahead_q15(0, 40) == one.planned_ahead_q15(0, 139) == 6000
    assert one.planned_ahead_q15(0, 140) == 30000


def test_cooling_looks_at_nothing():
    one = sequencer(ramp(2500, 3500, 10))
    one.cool()
    assert one.kind() == cool()["kind"] and one.planned_ahead_q15(0, 0) == 0
