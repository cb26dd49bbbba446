"""Proofs of the checks against what happens at a bench: lifted beads, and hot air from above."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.safety_limits import (
    AIR_HOT_TICKS,
    AIR_SETTLE_TICKS,
    HARD_CEILING_CDEG,
    LIFT_AIR_DROP_CDEG,
    LIFT_BACK_CDEG,
    LIFT_DROP_CDEG,
    LIFT_TICKS,
)
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import (
    assert_dark,
    assert_never_heats_again,
    assert_tripped,
    until_tripped,
    word_above,
    word_below,
)
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, hold, hot_air, ramp

NOZZLE = 3

# C17: a bead that lifts.


def climbing():
    """Return a bench that heats a board at 60 degC in every tick."""
    stages = [hold(6000, 20), ramp(6000, 9000, 300, hold_back_cdeg=2000), cool()]
    bench = Bench(build_plan(stages, kp0_q8=10000))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until_stage(1)
    bench.tick(100)
    assert bench.heats and bench.record.withheld == 0
    return bench


def lift(bench, channel, to_c=30.0):
    bench.board_c[channel] = to_c


@pytest.mark.check("C17", proves="acts")
@pytest.mark.parametrize("channel", [0, 1])
def test_lifted_bead_takes_heat_at_once_and_trips(channel):
    bench = climbing()
    lift(bench, channel)
    bench.tick(10)
    assert not bench.heats and bench.record.withheld == trip_codes.WITHHELD_LIFTED
    assert bench.record.waits_for == rs.WAITS_SENSOR_DOWN and bench.state == rs.RUN
    bench.tick(LIFT_TICKS)
    assert_tripped(bench, trip_codes.SENSOR_LIFTED)


@pytest.mark.check("C17", proves="in_time")
@pytest.mark.parametrize("fall_c", [10.0, 20.0, 35.0])
def test_lifted_bead_trips_in_time(fall_c):
    bench = climbing()
    lift(bench, 0, 60.0 - fall_c)
    assert until_tripped(bench, 200) <= ticks_allowed("C17")


@pytest.mark.check("C17", proves="quiet")
def test_fall_one_step_inside_is_quiet():
    bench = climbing()
    lift(bench, 1, 60.0 - LIFT_DROP_CDEG / 100 + 0.25)
    for _ in range(300):
        bench.tick()
        assert not bench.record.withheld & trip_codes.WITHHELD_LIFTED
    assert bench.trip == trip_codes.NO_TRIP


@pytest.mark.check("C17", proves="quiet")
def test_bead_that_is_pressed_down_one_step_inside_is_quiet():
    bench = climbing()
    lift(bench, 1)
    bench.tick(LIFT_TICKS - 20)  # the filter needs a second and a half to believe it
    bench.board_c[1] = 60.0 - LIFT_BACK_CDEG / 100 + 1.0
    bench.tick(100)
    assert bench.trip == trip_codes.NO_TRIP and bench.heats


def given_air(longest_ticks=2400, **header):
    """Return a bench with hot air on a board at 60 degC."""
    stages = [hold(6000, 60), hot_air(6000, prompt=NOZZLE, longest_ticks=longest_ticks)]
    stages += [ramp(6000, 9000, 900, hold_back_cdeg=2000), cool()]
    bench = Bench(build_plan(stages, **header))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until_stage(1)
    bench.tick(2)
    bench.acknowledge(NOZZLE)
    bench.tick(2)
    assert bench.machine.air_is_on()
    return bench


@pytest.mark.check("C17", proves="quiet")
def test_bead_under_hot_air_and_just_after_it_is_quiet():
    bench = given_air()
    lowest_c = 60.0 - LIFT_AIR_DROP_CDEG / 100 + 0.25
    for board_c in (75.0, 60.0, 70.0, lowest_c, 60.0):
        bench.board_c = [60.0, board_c]
        bench.tick(30)
    bench.acknowledge(AIR_AWAY_PROMPT)
    bench.tick(2)
    lift(bench, 1, lowest_c)
    bench.tick(AIR_SETTLE_TICKS - 10)
    assert bench.trip == trip_codes.NO_TRIP
    assert not bench.record.withheld & trip_codes.WITHHELD_LIFTED


@pytest.mark.check("C17", proves="quiet")
def test_bead_in_the_jet_is_quiet():
    bench = given_air(in_jet_channels=0b10)
    for board_c in (75.0, 60.0, 70.0, 40.0, 60.0, 40.0):
        bench.board_c = [60.0, board_c]
        bench.tick(150)
    assert bench.trip == trip_codes.NO_TRIP and bench.record.withheld == 0


@pytest.mark.check("C17", proves="in_time")
@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("away", [False, True], ids=["under the air", "after the air"])
def test_bead_that_lifts_away_from_the_jet_trips_in_time(channel, away):
    bench = given_air()
    if away:
        bench.acknowledge(AIR_AWAY_PROMPT)
        bench.tick(2)
    lift(bench, channel)
    assert until_tripped(bench, 200) <= ticks_allowed("C17")
    assert_tripped(bench, trip_codes.SENSOR_LIFTED)


@pytest.mark.check("C17", proves="acts")
def test_bead_that_lifts_half_a_minute_after_hot_air_acts():
    bench = given_air()
    bench.acknowledge(AIR_AWAY_PROMPT)
    bench.tick(AIR_SETTLE_TICKS + 20)
    lift(bench, 1, 40.0)
    bench.tick(LIFT_TICKS + 10)
    assert_tripped(bench, trip_codes.SENSOR_LIFTED)


@pytest.mark.check("C17", proves="stays")
def test_lifted_bead_stays():
    bench = climbing()
    lift(bench, 0)
    bench.tick(LIFT_TICKS + 10)
    bench.board_c = [60.0, 60.0]
    assert_never_heats_again(bench, trip_codes.SENSOR_LIFTED)


# C18: too hot from above.


def too_hot(bench, channel=1):
    bench.raw = {channel: word_above(8000)}
    return bench


LIMITS = dict(limit0_cdeg=8000, limit1_cdeg=8000)


@pytest.mark.check("C18", proves="acts")
@pytest.mark.parametrize("channel", [0, 1])
def test_board_too_hot_from_above_acts(channel):
    bench = too_hot(given_air(**LIMITS), channel)
    bench.tick(AIR_HOT_TICKS)
    assert_tripped(bench, trip_codes.TOO_HOT_FROM_ABOVE)


@pytest.mark.check("C18", proves="quiet")
def test_a_jet_that_wanders_over_a_bead_takes_heat_away_and_no_more():
    bench = too_hot(given_air(**LIMITS))
    bench.tick()
    assert not bench.heats, "heat is off in the first tick"
    bench.tick(AIR_HOT_TICKS - 2)
    bench.raw = {}
    bench.tick(300)
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.RUN


@pytest.mark.check("C18", proves="acts")
def test_hard_ceiling_stands_under_hot_air():
    bench = given_air(limit0_cdeg=26000, limit1_cdeg=26000)
    bench.raw = {1: word_above(HARD_CEILING_CDEG)}
    bench.tick(3)
    assert_tripped(bench, trip_codes.TOO_HOT_FROM_ABOVE)


@pytest.mark.check("C18", proves="in_time")
def test_board_too_hot_from_above_acts_in_time():
    bench = too_hot(given_air(**LIMITS))
    bench.tick()
    assert not bench.heats, "heat is off in the first tick"
    assert until_tripped(bench, 200) + 1 <= ticks_allowed("C18")


@pytest.mark.check("C18", proves="quiet")
def test_board_just_below_its_limit_under_hot_air_is_quiet():
    bench = given_air(**LIMITS)
    bench.raw = {1: word_below(8000)}
    bench.tick(300)
    assert bench.trip == trip_codes.NO_TRIP and bench.state == rs.RUN


@pytest.mark.check("C18", proves="stays")
def test_board_too_hot_from_above_stays():
    bench = too_hot(given_air(**LIMITS))
    bench.tick(AIR_HOT_TICKS)
    bench.raw = {}
    assert_never_heats_again(bench, trip_codes.TOO_HOT_FROM_ABOVE)
    assert_dark(bench)
