"""The plan's clock: ramps, guaranteed soaks, waits."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.plan import Plan
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.plans import build_plan, cool, hold, powered, ramp, wait
from tests.support.stages import follow, run, sequencer, step


def test_ramp_moves_its_setpoint_along_the_line():
    one = sequencer(ramp(2500, 9000, 650))
    assert one.setpoint_cdeg == 2500
    assert follow(one, 300) == 0
    assert one.stage_tick == 300 and one.setpoint_cdeg == 2500 + 300 * 10


def test_ramp_setpoint_lies_on_the_line_between_knots():
    one = sequencer(dict(ramp(2500, 5000, 100), knots=[(0, 2500), (40, 3000), (100, 5000)]))
    follow(one, 40)
    assert one.setpoint_cdeg == 3000
    follow(one, 30)
    assert one.setpoint_cdeg == 4000


@pytest.mark.parametrize(("short_of_cdeg", "ends"), [(0, True), (300, True), (301, False)])
def test_ramp_ends_within_the_band_of_its_target(short_of_cdeg, ends):
    one = sequencer(ramp(2500, 3500, 10, band_cdeg=300))
    run(one, 3500 - short_of_cdeg, 9)
    assert (run(one, 3500 - short_of_cdeg, 100) == 1) is ends
    assert one.stage == (1 if ends else 0)


def test_ramp_never_ends_before_its_clock():
    one = sequencer(ramp(2500, 3500, 50))
    assert run(one, 3500, 49) == 0, "the board is already there, the plan is not"
    assert run(one, 3500, 1) == 1


def test_hold_back_stops_the_clock_until_the_board_is_near_again():
    one = sequencer(ramp(2500, 9000, 650, hold_back_cdeg=800))
    run(one, 2500, 100)
    stood_at = one.stage_tick
    assert one.waits_for == rs.WAITS_BOARD
    assert one.setpoint_cdeg - 2500 == 810, "one step beyond the hold-back, then no further"
    run(one, 2500, 500)
    assert one.stage_tick == stood_at
    step(one, one.setpoint_cdeg - 800)
    assert one.waits_for == rs.WAITS_NOTHING and one.stage_tick == stood_at + 1


def test_hold_that_stands_for_a_board_too_hot_gets_no_planned_power():
    """At its end the plan already heats for the next ramp: that must not go on while it stands."""
    one = sequencer(powered(hold(9000, 100, band_cdeg=300), 20000, 20000), at_cdeg=9000)
    run(one, 9300, 10)
    assert one.feedforward_q15(0) == 20000
    run(one, 9301, 10)
    assert one.waits_for == rs.WAITS_BAND and one.feedforward_q15(0) == 0
    run(one, 8699, 10)
    assert one.waits_for == rs.WAITS_BAND and one.feedforward_q15(0) == 20000
    run(one, 9000, 200)
    assert one.too_hot == 0


def test_board_ahead_of_the_ramp_does_not_stop_the_clock():
    one = sequencer(ramp(2500, 9000, 650, hold_back_cdeg=800))
    run(one, 8000, 100)
    assert one.stage_tick == 100


def test_flat_ramp_is_not_held_up_by_a_board_above_it():
    one = sequencer(ramp(6000, 6000, 50, hold_back_cdeg=100), at_cdeg=6000)
    run(one, 6500, 20)
    assert one.stage_tick == 20 and one.waits_for == rs.WAITS_NOTHING


def test_warm_board_starts_its_ramp_where_it_is():
    one = sequencer(ramp(2500, 9000, 650), at_cdeg=6000)
    assert one.stage_tick == 350 and one.setpoint_cdeg == 6000


def test_warm_board_finds_its_place_among_several_knots():
    knots = [(0, 2500), (100, 3500), (1100, 5500)]
    one = sequencer(dict(ramp(2500, 5500, 1100), knots=knots), at_cdeg=4500)
    assert one.stage_tick == 600 and one.setpoint_cdeg == 4500


@pytest.mark.parametrize("at_cdeg", [1900, 2500, NO_READING_CDEG])
def test_board_below_the_ramp_starts_at_its_beginning(at_cdeg):
    one = sequencer(ramp(2500, 9000, 650), at_cdeg=at_cdeg)
    assert one.stage_tick == 0 and one.setpoint_cdeg == 2500


@pytest.mark.parametrize("at_cdeg", [9000, 12000])
def test_board_beyond_the_ramp_starts_at_its_end(at_cdeg):
    one = sequencer(ramp(2500, 9000, 650), at_cdeg=at_cdeg)
    assert one.stage_tick == 650 and one.setpoint_cdeg == 9000
    assert run(one, at_cdeg, 5) == 1


@pytest.mark.parametrize(("at_cdeg", "tick"), [(9500, 0), (9000, 0), (6000, 300), (5000, 300)])
def test_board_outside_a_falling_ramp_starts_at_the_end_that_is_nearer(at_cdeg, tick):
    one = sequencer(ramp(9000, 6000, 300), at_cdeg=at_cdeg)
    assert one.stage_tick == tick


def test_falling_ramp_waits_for_a_board_that_stays_hot():
    one = sequencer(ramp(9000, 6000, 300, hold_back_cdeg=500, band_cdeg=200), at_cdeg=9000)
    run(one, 9000, 200)
    assert one.waits_for == rs.WAITS_BOARD
    assert 9000 - one.setpoint_cdeg == 510
    assert follow(one, 1000) > 0


@pytest.mark.parametrize(("above_cdeg", "ends"), [(200, True), (201, False)])
def test_falling_ramp_ends_from_above_within_its_band(above_cdeg, ends):
    one = sequencer(ramp(9000, 6000, 300, band_cdeg=200), at_cdeg=9000)
    assert follow(one, 299, lag_cdeg=-above_cdeg) == 0
    # one tick to the end of the ramp, one for the board to come after
    assert follow(one, 50, lag_cdeg=-above_cdeg) == (2 if ends else 0)


def test_falling_ramp_takes_a_half_cooled_board_where_it_is():
    one = sequencer(ramp(9000, 6000, 300), at_cdeg=7000)
    assert one.stage_tick == 200 and one.setpoint_cdeg == 7000


def test_soak_counts_only_inside_its_band():
    one = sequencer(hold(9000, 100, band_cdeg=300))
    assert run(one, 9000, 60) == 0
    assert run(one, 8699, 500) == 0, "one hundredth below the band: nothing counts"
    assert one.waits_for == rs.WAITS_BAND and one.stage_tick == 60
    assert run(one, 9301, 500) == 0, "above it neither"
    assert one.stage_tick == 60
    assert run(one, 8700, 39) == 0
    assert one.waits_for == rs.WAITS_NOTHING
    assert run(one, 9300, 1) == 1, "the hundredth good tick ends it"


def test_clock_stands_still_without_a_reading():
    one = sequencer(hold(9000, 100))
    run(one, 9000, 10)
    run(one, NO_READING_CDEG, 50)
    assert one.stage_tick == 10 and one.stage_elapsed == 60


def test_wait_never_advances_by_itself():
    one = sequencer(wait(9000, prompt=3, longest_ticks=6000))
    assert run(one, 9000, 5900) == 0
    assert one.stage == 0 and one.waits_for == rs.WAITS_OPERATOR and one.prompt == 3
    assert one.stage_tick == one.stage_elapsed == 5900


def test_wait_goes_on_with_its_own_prompt_only():
    one = sequencer(wait(9000, prompt=3))
    assert run(one, 9000, 5, acknowledged=4) == 0
    assert run(one, 9000, 1, acknowledged=3) == 1
    assert one.prompt == NONE


def test_wait_without_a_prompt_number_never_takes_silence_for_an_answer():
    one = sequencer(wait(9000, prompt=NONE, longest_ticks=50))
    assert run(one, 9000, 49) == 0
    run(one, 9000, 1)
    assert one.overdue == trip_codes.PROMPT_OVERDUE


def test_unanswered_prompt_is_overdue_at_its_longest_time():
    one = sequencer(wait(9000, prompt=3, longest_ticks=600))
    run(one, 9000, 599)
    assert one.overdue == trip_codes.NO_TRIP
    run(one, 9000, 1)
    assert one.overdue == trip_codes.PROMPT_OVERDUE and one.stage == 0


def test_last_stage_cools():
    one = sequencer(hold(9000, 3), at_cdeg=9000)
    assert run(one, 9000, 3) == 3
    assert one.setpoint_cdeg == NO_READING_CDEG and one.stage == 1
    assert run(one, 4000, 1000) == 0


def test_cooling_can_begin_from_any_stage():
    one = sequencer(ramp(2500, 9000, 650), hold(9000, 50))
    follow(one, 100)
    one.cool()
    assert one.stage == 2 and one.setpoint_cdeg == NO_READING_CDEG and one.stage_elapsed == 1
    one.cool()
    assert one.stage_elapsed == 2


def test_plan_that_only_cools_begins_with_it():
    one = Sequencer(Plan(build_plan([cool()])))
    one.begin(2500)
    assert one.setpoint_cdeg == NO_READING_CDEG and one.stage == 0


def test_slope_of_the_plan_is_known_ahead():
    one = sequencer(dict(ramp(2500, 4500, 200), knots=[(0, 2500), (100, 3500), (200, 4500)]))
    assert one.slope_q6(0) == 10 * 64
    assert one.slope_q6(150) == 10 * 64
    assert one.slope_q6(200) == 0, "past the end of the stage"


def test_slope_ahead_sees_the_bend_before_the_board_does():
    one = sequencer(dict(ramp(2500, 3500, 300), knots=[(0, 2500), (100, 3500), (300, 3700)]))
    assert one.slope_q6(99) == 640 and one.slope_q6(100) == 64
