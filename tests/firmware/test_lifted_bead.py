"""What is done about a bead that seems to lift: heat off, "press it down", ten seconds, a trip."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.plan import ROLE_CHIP_TOP, Plan
from emberbed_fw.safety_limits import AIR_SETTLE_TICKS, LIFT_AIR_DROP_CDEG, LIFT_TICKS
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NONE
from tests.support.bench import OPEN_WORD, Bench
from tests.support.heated import HeatedBench
from tests.support.judged import Judged
from tests.support.plans import bench_settings, build_plan, cool, hold, hot_air, ramp
from tests.support.trips import mend, tripped_by


def settle(one, ticks=50):
    one.tick(ticks)
    assert one.withheld == 0


def test_judge_withholds_at_once_and_trips_after_ten_seconds():
    one = Judged()
    settle(one)
    one.readings.cdeg[1] = 3000
    told = []
    while one.trip == trip_codes.NO_TRIP:
        driven = one.tick()
        told.append(one.withheld)
        assert len(told) < 200 and (driven == 0) is (one.withheld != 0)
    assert one.trip == trip_codes.SENSOR_LIFTED
    seen = told.index(trip_codes.WITHHELD_LIFTED)
    assert seen <= 5 and len(told) == seen + LIFT_TICKS
    assert set(told[seen:-1]) == {trip_codes.WITHHELD_LIFTED}


def test_tweezers_at_the_bead_withhold_and_are_forgiven():
    """Tweezers take heat from the bead: a dip of 10 degC for a second, and it comes back."""
    one = Judged()
    settle(one)
    for cdeg in (7400, 7000, 7000, 7000, 7000, 7000, 7000, 7100, 7300, 7500):
        one.readings.cdeg[0] = cdeg
        one.tick()
    assert one.withheld == trip_codes.WITHHELD_LIFTED
    for cdeg in range(7500, 8001, 50):
        one.readings.cdeg[0] = cdeg
        one.tick()
    one.tick(5)
    assert one.withheld == 0 and one.trip == trip_codes.NO_TRIP and one.tick() == 1


def test_bead_that_is_pressed_down_in_the_last_moment_trips_nothing():
    one = Judged()
    settle(one)
    one.readings.cdeg[0] = 3000
    while not one.withheld:
        one.tick()
    one.tick(LIFT_TICKS - 15)
    one.readings.cdeg[0] = 8000
    one.tick(14)
    assert one.trip == trip_codes.NO_TRIP
    one.tick(10)
    assert one.withheld == 0, "it has stayed down for a second"
    one.tick(300)
    assert one.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize("state", [rs.IDLE, rs.LOADED, rs.COLD_PROOF, rs.COOL, rs.TRIPPED])
def test_nothing_is_watched_where_nothing_heats(state):
    one = Judged()
    settle(one)
    one.state = state
    one.readings.cdeg[0] = 3000
    one.tick(300, wanted=0)
    assert one.trip == trip_codes.NO_TRIP
    assert not one.withheld & trip_codes.WITHHELD_LIFTED


JET_PLAN = Plan(
    build_plan([ramp(2500, 9000, 650), cool()], limit0_cdeg=11000, limit1_cdeg=12000,
               in_jet_channels=0b10)
)  # fmt: skip
TOP_PLAN = Plan(
    build_plan([ramp(2500, 9000, 650), cool()], limit0_cdeg=11000, limit1_cdeg=12000,
               role1=ROLE_CHIP_TOP)
)  # fmt: skip


@pytest.mark.parametrize("plan", [JET_PLAN, TOP_PLAN], ids=["in the jet", "on the chip"])
def test_hot_air_moves_a_bead_in_the_jet_as_it_likes(plan):
    one = Judged()
    one.plan = plan
    one.air_on = True
    for cdeg in [8000] * 50 + [3000] * 300:
        one.readings.cdeg[1] = cdeg
        assert one.tick() == 1
    assert one.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("blown_ticks", [1, 600])
def test_bead_away_from_the_jet_is_watched_under_hot_air(channel, blown_ticks):
    one = Judged()
    settle(one)
    one.air_on = True
    one.tick(blown_ticks)
    one.readings.cdeg[channel] = 3000
    one.tick(10)
    assert one.withheld == trip_codes.WITHHELD_LIFTED and one.tick() == 0
    one.tick(LIFT_TICKS)
    assert one.trip == trip_codes.SENSOR_LIFTED


def after_hot_air(ticks, cdeg, plan=None):
    """Return a judge `ticks` after hot air went away, whose second bead then falls to `cdeg`."""
    one = Judged()
    one.plan = plan or one.plan
    settle(one)
    one.air_on = True
    one.tick(50)
    one.air_on = False
    one.tick(ticks)
    one.readings.cdeg[1] = cdeg
    return one


@pytest.mark.parametrize("ticks", [1, AIR_SETTLE_TICKS - 100])
def test_small_fall_just_after_hot_air_is_quiet(ticks):
    one = after_hot_air(ticks, 7900 - LIFT_AIR_DROP_CDEG + 50)
    for _ in range(20):
        assert one.tick() == 1
    one.tick(400)
    assert one.trip == trip_codes.NO_TRIP


def test_fall_of_a_bead_in_the_jet_just_after_hot_air_is_quiet():
    one = after_hot_air(1, 3000, JET_PLAN)
    one.tick(400)
    assert one.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize("ticks", [1, AIR_SETTLE_TICKS - 30])
def test_bead_that_lifts_just_after_hot_air_is_not_forgotten(ticks):
    one = after_hot_air(ticks, 3000)
    one.tick(LIFT_TICKS + 10)
    assert one.trip == trip_codes.SENSOR_LIFTED


def test_fall_half_a_minute_after_hot_air_is_a_lifted_bead():
    one = after_hot_air(AIR_SETTLE_TICKS + 20, 3000)
    one.tick(10)
    assert one.withheld == trip_codes.WITHHELD_LIFTED
    one.tick(LIFT_TICKS)
    assert one.trip == trip_codes.SENSOR_LIFTED


# In a run.


def running(**stage):
    stages = [hold(6000, 20), ramp(6000, 9000, 300, **stage), cool()]
    bench = Bench(build_plan(stages))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until_stage(1)
    bench.tick(20)
    return bench


def test_run_pauses_and_says_press_the_sensor_down():
    bench = running()
    bench.board_c = [40.0, 60.0]
    bench.tick(10)
    clock, setpoint = bench.record.stage_tick, bench.record.setpoint_cdeg
    bench.tick(20)
    said = bench.record
    assert said.waits_for == rs.WAITS_SENSOR_DOWN and bench.state == rs.RUN
    assert (said.stage_tick, said.setpoint_cdeg) == (clock, setpoint)
    assert not bench.heats and bench.contactor_driven, "heat is off; nothing has tripped"
    bench.board_c = [60.0, 60.0]
    bench.tick(25)
    assert bench.record.waits_for != rs.WAITS_SENSOR_DOWN and bench.record.withheld == 0
    bench.tick(20)
    assert bench.record.stage_tick > clock


def test_run_trips_when_nobody_presses_it_down():
    bench = running()
    bench.board_c = [60.0, 40.0]
    bench.tick(LIFT_TICKS + 10)
    assert bench.trip == trip_codes.SENSOR_LIFTED and bench.state == rs.COOL


def test_bead_that_breaks_while_it_lifts_is_an_open_couple():
    bench = running()
    bench.board_c = [40.0, 60.0]
    bench.tick(20)
    bench.raw = {0: OPEN_WORD}
    bench.tick(3)
    assert bench.trip == trip_codes.SENSOR_OPEN


# After the trip: with the heat off, only a bead that is pressed down again rises.


def test_bead_that_is_still_off_the_board_is_not_gone_on_with():
    bench = tripped_by("SENSOR_LIFTED")
    for _ in range(300):
        bench.tick()
        assert bench.record.prompt == NONE


def test_bead_that_is_pressed_down_is_offered_and_taken_back_when_it_slips_off():
    bench = tripped_by("SENSOR_LIFTED")
    mend(bench)
    bench.tick(30)
    assert bench.record.prompt == GO_ON_PROMPT
    bench.board_c[0] = 40.0
    bench.tick(20)
    assert bench.record.prompt == NONE
    bench.board_c[0] = 64.0
    bench.tick(20)
    assert bench.record.prompt == GO_ON_PROMPT


def test_board_that_cools_by_itself_keeps_the_offer():
    bench = tripped_by("SENSOR_LIFTED")
    mend(bench)
    bench.tick(30)
    for _ in range(300):
        bench.board_c = [bench.board_c[0] - 0.1] * 2  # a degree a second, with a fan
        bench.tick()
        assert bench.record.prompt == GO_ON_PROMPT


def test_bead_in_cooling_air_is_still_off():
    bench = tripped_by("SENSOR_LIFTED")
    for _ in range(300):
        bench.board_c[0] -= 0.02
        bench.tick()
        assert bench.record.prompt == NONE


def test_bead_in_a_warm_hand_is_not_gone_on_with():
    bench = tripped_by("SENSOR_LIFTED")
    for bead_c in [25.0] * 10 + [25.0 + step for step in range(9)] + [33.0] * 20:
        bench.board_c = [bead_c, 64.0]
        bench.tick()
        assert bench.record.prompt == NONE


# The board that the lifted bead no longer sees: it must not get hot.

ONE_CHANNEL = (("only", 1, 26000, 0, 4096),)
NOZZLE_PROMPT = 4


@pytest.mark.parametrize("soaked_ticks", [50, 1200], ids=["not learned", "learned"])
@pytest.mark.parametrize("away", [False, True], ids=["under the air", "after the air"])
def test_only_bead_of_a_board_lifts_and_the_board_stays_as_it_was(soaked_ticks, away):
    stages = [
        ramp(2500, 9000, 1000), hot_air(9000, prompt=NOZZLE_PROMPT), ramp(9000, 12000, 600), cool(),
    ]  # fmt: skip
    plan = build_plan(stages, role1=0, limit1_cdeg=0)
    bench = HeatedBench(plan, bench_settings(channels=ONE_CHANNEL)).to_run()
    bench.until_stage(1, 8000)
    bench.tick(soaked_ticks)
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick(20)
    if away:
        bench.acknowledge(AIR_AWAY_PROMPT)
        bench.tick(10)
    bench.lifted_c = 30.0
    hottest_c = 0.0
    for _ in range(600):
        bench.tick()
        hottest_c = max(hottest_c, bench.true_c)
    assert bench.trip == trip_codes.SENSOR_LIFTED and bench.state == rs.COOL
    assert hottest_c < 90.0 + 10.0


def test_hot_air_on_a_board_that_is_to_cool_is_no_lifted_bead():
    stages = [
        ramp(2500, 15000, 2000), hold(15000, 1500), hot_air(8000, prompt=NOZZLE_PROMPT), cool(),
    ]  # fmt: skip
    bench = HeatedBench(build_plan(stages, limit0_cdeg=20000, limit1_cdeg=20000)).to_run()
    bench.until_stage(2, 20000)
    bench.tick(5)
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick(2000)
    assert bench.trip == trip_codes.NO_TRIP and bench.true_c < 100.0
