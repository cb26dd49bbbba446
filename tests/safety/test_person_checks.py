"""Proofs of the checks around people: the press, the cool-down, unanswered questions."""

import pytest

from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import (
    ANSWER_TICKS,
    BLIND_COOL_TICKS,
    COLD_PROOF_GOOD_TICKS,
    DOUBTFUL_TICKS_TO_LATCH,
    HANDLING_CDEG,
    HANDLING_TICKS,
    LEAST_COOL_TICKS,
    PRESS_HELD_TICKS,
    PRESS_RELEASED_TICKS,
    PRESS_VALID_TICKS,
)
from emberbed_fw.sequencer import LONGER_PROMPT
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import (
    assert_dark,
    assert_never_heats_again,
    assert_tripped,
    heating,
    until_tripped,
    word_above,
)
from tests.support.bench import Bench, short_plan
from tests.support.plans import build_plan, cool, hold, ramp, wait

# C12: released, then held.


def armed(button=False):
    bench = Bench()
    bench.button = button
    bench.tick(20)
    bench.load()
    bench.arm()
    bench.tick(COLD_PROOF_GOOD_TICKS)
    return bench


@pytest.mark.check("C12", proves="acts")
def test_stuck_button_starts_nothing():
    bench = armed(button=True)
    while bench.state == rs.COLD_PROOF:
        bench.tick()
        assert_dark(bench)
    assert bench.state == rs.LOADED


@pytest.mark.check("C12", proves="acts")
def test_button_that_was_not_released_long_enough_starts_nothing():
    bench = armed(button=True)
    bench.button = False
    bench.tick(PRESS_RELEASED_TICKS - 1)
    bench.button = True
    bench.tick(100)
    assert bench.state == rs.COLD_PROOF
    assert_dark(bench)


@pytest.mark.check("C12", proves="in_time")
def test_offered_press_is_over_in_time():
    bench = armed()
    passed = COLD_PROOF_GOOD_TICKS
    while bench.state == rs.COLD_PROOF:
        bench.tick()
        passed += 1
        assert passed <= ticks_allowed("C12")
        assert_dark(bench)
    assert passed > PRESS_VALID_TICKS


@pytest.mark.check("C12", proves="quiet")
def test_right_press_starts_the_proof_in_its_last_possible_tick():
    bench = armed()
    bench.tick(PRESS_VALID_TICKS - COLD_PROOF_GOOD_TICKS - PRESS_HELD_TICKS)
    bench.button = True
    bench.tick(PRESS_HELD_TICKS)
    assert bench.state == rs.HOT_PROOF


@pytest.mark.check("C12", proves="stays")
def test_press_after_its_time_starts_nothing_until_armed_again():
    bench = armed()
    bench.tick(PRESS_VALID_TICKS)
    assert bench.state == rs.LOADED
    for _ in range(5):
        bench.press()
        bench.tick(20)
        assert bench.state == rs.LOADED
        assert_dark(bench)


# C13: the watched cool-down.


@pytest.mark.check("C13", proves="acts")
def test_board_stays_watched_until_it_may_be_handled():
    bench = heating()
    bench.board_c = [60.0, 60.0]
    bench.tick()
    bench.stop()
    for _ in range(LEAST_COOL_TICKS * 3):
        bench.tick()
        assert bench.state == rs.COOL and bench.record.waits_for == rs.WAITS_COOLING
        assert bench.record.outputs & record.OUT_LAMP
        assert_dark(bench)
    bench.board_c = [40.0, 40.0]
    assert bench.until(rs.STOPPED) == HANDLING_TICKS


@pytest.mark.check("C13", proves="acts")
def test_board_that_no_sensor_sees_is_given_half_an_hour():
    bench = heating()
    bench.raw = {0: 0, 1: 0}
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert abs(bench.until(rs.TRIPPED, BLIND_COOL_TICKS + 10) - BLIND_COOL_TICKS) <= 1


@pytest.mark.check("C13", proves="in_time")
def test_heat_is_off_in_the_tick_that_begins_the_cooling():
    bench = heating()
    bench.stop()
    assert bench.until(rs.COOL) <= ticks_allowed("C13")
    assert_dark(bench)


@pytest.mark.check("C13", proves="quiet")
def test_board_just_below_the_handling_temperature_is_done():
    bench = heating()
    bench.board_c = [49.5, 49.5]
    bench.stop()
    bench.tick(LEAST_COOL_TICKS)
    bench.until(rs.STOPPED, HANDLING_TICKS)
    assert not bench.record.outputs & record.OUT_LAMP


@pytest.mark.check("C13", proves="stays")
def test_board_just_at_the_handling_temperature_is_not_done():
    bench = heating()
    bench.raw = {1: word_above(HANDLING_CDEG - 1)}
    bench.stop()
    bench.tick(LEAST_COOL_TICKS * 3)
    assert bench.state == rs.COOL and 0 <= bench.record.channel1_cdeg - HANDLING_CDEG < 50


# C14: nobody answers, or the run takes too long.


def asking():
    """Return a bench at a prompt that must be answered within 300 ticks."""
    bench = Bench(build_plan([hold(6000, 5), wait(6000, prompt=4, longest_ticks=300), cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until(rs.WAIT)
    return bench


def late_stage():
    """Return a bench whose ramp may take 300 ticks and never gets there."""
    plan = build_plan([ramp(2500, 9000, 100, longest_ticks=300), cool()])
    bench = Bench(plan)
    bench.board_c = [40.0, 40.0]  # a board in the cold would be asked about for its own sake
    bench.to_run().tick(299)
    assert bench.heats
    return bench


@pytest.mark.check("C14", proves="acts")
def test_unanswered_prompt_acts():
    bench = asking()
    bench.tick(300)
    assert_tripped(bench, trip_codes.PROMPT_OVERDUE)


@pytest.mark.check("C14", proves="acts")
def test_stage_over_its_time_acts():
    bench = late_stage()
    bench.tick(1)
    assert bench.record.prompt == LONGER_PROMPT
    bench.tick(2 * ANSWER_TICKS)
    assert_tripped(bench, trip_codes.STAGE_OVERDUE)


@pytest.mark.check("C14", proves="acts")
def test_run_over_its_time_acts():
    bench = heating(short_plan(longest_run_ticks=100))
    until_tripped(bench, 100)
    assert_tripped(bench, trip_codes.RUN_TOO_LONG)


@pytest.mark.check("C14", proves="in_time")
def test_stage_over_its_time_acts_in_time():
    assert until_tripped(late_stage(), 3000) <= ticks_allowed("C14")


@pytest.mark.check("C14", proves="quiet")
def test_answer_in_the_last_moment_is_quiet():
    bench = asking()
    bench.tick(299)
    bench.acknowledge(4)
    bench.tick()
    assert bench.trip == trip_codes.NO_TRIP and bench.record.verdict == rs.FINISHED


@pytest.mark.check("C14", proves="quiet")
def test_stage_that_is_answered_for_is_quiet():
    bench = late_stage()
    bench.tick(ANSWER_TICKS - 10)
    bench.acknowledge(LONGER_PROMPT)
    bench.tick(ANSWER_TICKS)
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.RUN and bench.heats


@pytest.mark.check("C14", proves="stays")
def test_answer_that_comes_too_late_changes_nothing():
    bench = asking()
    bench.tick(300)
    bench.acknowledge(4)
    assert_never_heats_again(bench, trip_codes.PROMPT_OVERDUE)
