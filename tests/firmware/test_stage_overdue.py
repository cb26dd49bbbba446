"""A stage over its longest time: the question, the last plateau, the end."""

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.lead import AHEAD_CDEG
from emberbed_fw.safety_limits import ANSWER_TICKS
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import NONE
from tests.support.plans import hold, ramp
from tests.support.stages import follow, run, sequencer, step

AHEAD = 6000 + AHEAD_CDEG  # as far as the setpoint climbs before a board that does not follow


def overdue_hold():
    """Return a sequencer whose second hold never gets into its band, first plateau 60 degC."""
    one = sequencer(hold(6000, 10), hold(9000, 100, longest_ticks=500), at_cdeg=6000)
    assert run(one, 6000, 10) == 10
    return one


def test_late_stage_asks_first():
    one = overdue_hold()
    run(one, 6000, 499)
    assert one.prompt == NONE
    run(one, 6000, 1)
    assert one.prompt == LONGER_PROMPT and one.waits_for == rs.WAITS_ANSWER
    assert one.setpoint_cdeg == AHEAD and one.overdue == trip_codes.NO_TRIP


def test_unanswered_it_falls_to_the_last_plateau():
    one = overdue_hold()
    run(one, 6000, 500 + ANSWER_TICKS - 1)
    assert one.setpoint_cdeg == AHEAD
    run(one, 6000, 1)
    assert one.setpoint_cdeg == 6000 and one.overdue == trip_codes.NO_TRIP


def test_unanswered_at_the_plateau_it_is_overdue():
    one = overdue_hold()
    run(one, 6000, 500 + 2 * ANSWER_TICKS - 1)
    assert one.overdue == trip_codes.NO_TRIP
    run(one, 6000, 1)
    assert one.overdue == trip_codes.STAGE_OVERDUE


def test_plateau_never_raises_the_setpoint():
    one = sequencer(
        hold(9000, 10), ramp(9000, 6000, 100, longest_ticks=500, band_cdeg=10), at_cdeg=9000
    )
    run(one, 9000, 10)
    for _ in range(300):
        step(one, one.setpoint_cdeg + 100)
    run(one, 6100, 200 + ANSWER_TICKS + 5)
    assert one.stage == 1 and one.setpoint_cdeg == 6000


def test_first_stage_has_no_plateau_to_fall_to():
    one = sequencer(hold(9000, 100, longest_ticks=500))
    run(one, 6000, 500 + ANSWER_TICKS + 1)
    assert one.setpoint_cdeg == 9000
    run(one, 6000, ANSWER_TICKS)
    assert one.overdue == trip_codes.STAGE_OVERDUE


def test_answer_gives_the_stage_more_time_and_it_asks_again():
    one = overdue_hold()
    run(one, 6000, 500)
    run(one, 6000, 1, acknowledged=LONGER_PROMPT)
    assert one.prompt == NONE
    more = max(500 // 2, ANSWER_TICKS)
    run(one, 6000, more - 1)
    assert one.prompt == NONE
    run(one, 6000, 1)
    assert one.prompt == LONGER_PROMPT


def test_answer_gives_a_long_stage_half_of_its_time_again():
    one = sequencer(hold(9000, 100, longest_ticks=2000))
    run(one, 6000, 2000)
    run(one, 6000, 1, acknowledged=LONGER_PROMPT)
    run(one, 6000, 999)
    assert one.prompt == NONE
    run(one, 6000, 1)
    assert one.prompt == LONGER_PROMPT


def test_answer_at_the_plateau_brings_the_setpoint_back():
    one = overdue_hold()
    run(one, 6000, 500 + ANSWER_TICKS + 1)
    assert one.setpoint_cdeg == 6000
    run(one, 6000, 1, acknowledged=LONGER_PROMPT)
    assert 6000 < one.setpoint_cdeg < 6010, "it climbs, and does not jump"
    run(one, 6000, 200)
    assert one.setpoint_cdeg == AHEAD
    follow(one, 1000)
    assert one.setpoint_cdeg == 9000 or one.stage == 2


def test_late_stage_that_gets_there_goes_on():
    one = overdue_hold()
    run(one, 6000, 550)
    assert one.prompt == LONGER_PROMPT
    assert run(one, 9000, 100) == 100
    assert one.prompt == NONE and one.stage == 2


def test_reset_forgets_the_run_before():
    one = overdue_hold()
    run(one, 6000, 2000)
    one.reset()
    one.begin(6000)
    assert one.overdue == trip_codes.NO_TRIP and one.stage == 0 and one.prompt == NONE
    fresh = sequencer(hold(6000, 10), hold(9000, 100, longest_ticks=500), at_cdeg=6000)
    assert {name: getattr(one, name) for name in one.STATE} == {
        name: getattr(fresh, name) for name in one.STATE
    }


# What nobody answers


def test_unanswered_ramp_goes_on_from_where_the_board_is():
    """The clock must not run on behind the lowered setpoint, nor the setpoint jump up after it."""
    late = ramp(6000, 12000, 600, longest_ticks=100, hold_back_cdeg=800)
    one = sequencer(hold(6000, 10), late, at_cdeg=6000)
    for _ in range(10):
        step(one, 6000)
    for _ in range(100 + ANSWER_TICKS + 300):
        step(one, 6100)
    assert one.setpoint_cdeg == 6000, "the last plateau"
    assert one.slope_q6(0) == 0 and one.feedforward_q15(0) == 0
    step(one, 6100, LONGER_PROMPT)
    assert 6000 <= one.setpoint_cdeg <= 6200
    step(one, 6100)
    assert one.prompt == NONE and 6000 <= one.setpoint_cdeg <= 6200


def test_first_ramp_has_no_plateau_and_is_given_up_when_nobody_answers():
    one = sequencer(ramp(2500, 9000, 650, longest_ticks=100))
    for _ in range(100 + ANSWER_TICKS - 1):
        step(one, 2500)
    assert one.overdue == trip_codes.NO_TRIP and one.prompt == LONGER_PROMPT
    step(one, 2500)
    assert one.overdue == trip_codes.STAGE_OVERDUE
