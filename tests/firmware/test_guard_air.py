"""The judge under hot air, and of a couple at an emitter: other limits, the same hard ceiling."""

import pytest

from emberbed_fw import trip_codes
from emberbed_fw.plan import ROLE_CHIP_TOP, ROLE_EMITTER, Plan
from emberbed_fw.readings import Readings
from emberbed_fw.safety_limits import (
    AIR_HOT_TICKS,
    DOUBTFUL_TICKS_TO_LATCH,
    EMITTER_CEILING_CDEG,
    HARD_CEILING_CDEG,
    MOST_VALID_CDEG,
    MOST_VALID_EMITTER_CDEG,
)
from emberbed_fw.settings import Settings
from emberbed_fw.units import NO_READING_CDEG
from tests.support.bench import OPEN_WORD, Bench, word
from tests.support.judged import Judged
from tests.support.plans import bench_settings, build_plan, cool, hold, hot_air, ramp
from tests.support.trips import HOLD, go_on, mended, running

LIMIT, AIR_LIMIT = 11000, 14000
STAGES = [ramp(2500, 9000, 650), cool()]
PLAN = Plan(
    build_plan(
        STAGES, limit0_cdeg=LIMIT, limit1_cdeg=LIMIT, air_limit0_cdeg=AIR_LIMIT,
        air_limit1_cdeg=AIR_LIMIT,
    )
)  # fmt: skip


def judged(air_on=False):
    one = Judged()
    one.plan = PLAN
    one.air_on = air_on
    return one


def at(one, cdeg):
    """Put both couples somewhere, slowly enough for a real board, and judge a second."""
    one.readings.cdeg[0] = one.readings.cdeg[1] = cdeg
    return one.tick(10)


@pytest.mark.parametrize(
    ("air_on", "fine_cdeg", "trip"),
    [
        (False, LIMIT, trip_codes.OVER_TEMPERATURE),
        (True, AIR_LIMIT, trip_codes.TOO_HOT_FROM_ABOVE),
    ],
)
def test_limit_and_its_name_depend_on_the_air(air_on, fine_cdeg, trip):
    one = judged(air_on)
    assert at(one, fine_cdeg) == 1
    one.readings.cdeg[1] = fine_cdeg + 1
    assert one.tick() == 0 and one.withheld == trip_codes.WITHHELD_OVER_TEMPERATURE
    ticks = AIR_HOT_TICKS if air_on else DOUBTFUL_TICKS_TO_LATCH
    one.tick(ticks - 2)
    assert one.trip == trip_codes.NO_TRIP
    one.tick()
    assert one.trip == trip


def test_board_that_the_air_has_warmed_is_given_the_rest_of_the_run_to_cool():
    one = judged(air_on=True)
    at(one, AIR_LIMIT - 100)
    one.air_on = False
    assert at(one, AIR_LIMIT - 100) == 1 and one.trip == trip_codes.NO_TRIP
    at(one, AIR_LIMIT + 1)
    assert one.trip == trip_codes.NO_TRIP
    one.tick(AIR_HOT_TICKS)
    assert one.trip == trip_codes.OVER_TEMPERATURE


@pytest.mark.parametrize(
    ("left", "trip"), [(1, trip_codes.NO_TRIP), (0, trip_codes.OVER_TEMPERATURE)]
)
def test_time_to_take_the_jet_away_ends_with_the_time_after_the_air(left, trip):
    one = judged()
    one.guard.note_air()
    one.readings.cdeg[1] = AIR_LIMIT + 1
    one.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
    one.guard._air_ticks = left
    one.tick()
    assert one.trip == trip


def test_next_run_has_the_lower_limit_again():
    one = judged(air_on=True)
    at(one, AIR_LIMIT - 100)
    one.air_on = False
    one.guard.clear()
    at(one, LIMIT + 1)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_air_lifts_no_ceiling_of_the_device_or_the_code():
    one = judged(air_on=True)
    one.plan = Plan(build_plan(STAGES, limit0_cdeg=30000, limit1_cdeg=30000))
    assert at(one, HARD_CEILING_CDEG) == 1
    at(one, HARD_CEILING_CDEG + 1)
    assert one.trip == trip_codes.TOO_HOT_FROM_ABOVE
    one = Judged(ceiling_cdeg=9000)
    one.plan, one.air_on = PLAN, True
    at(one, 9001)
    assert one.trip == trip_codes.TOO_HOT_FROM_ABOVE


# A couple at an emitter.


def at_emitter(limit1_cdeg=EMITTER_CEILING_CDEG, role1=ROLE_EMITTER):
    one = Judged(ceiling_cdeg=EMITTER_CEILING_CDEG)
    one.plan = Plan(build_plan(STAGES, role1=role1, limit1_cdeg=limit1_cdeg))
    return one


def test_emitter_may_be_hotter_than_any_board():
    one = at_emitter()
    one.readings.cdeg[1] = EMITTER_CEILING_CDEG
    assert one.tick(10) == 1
    one.readings.cdeg[1] += 1
    one.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_emitter_has_the_plans_limit_too():
    one = at_emitter(limit1_cdeg=50000)
    one.readings.cdeg[1] = 50001
    one.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_board_is_never_hotter_whatever_the_settings_say():
    one = at_emitter()
    one.plan = Plan(build_plan(STAGES, limit0_cdeg=EMITTER_CEILING_CDEG, role1=ROLE_EMITTER,
                               limit1_cdeg=EMITTER_CEILING_CDEG))  # fmt: skip
    one.readings.cdeg[0] = HARD_CEILING_CDEG + 1
    one.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert one.trip == trip_codes.OVER_TEMPERATURE


def test_no_setting_lifts_the_ceiling_of_an_emitter():
    one = Judged(ceiling_cdeg=EMITTER_CEILING_CDEG)
    settings = Settings(bench_settings())
    settings.ceiling_cdeg = [200000] * 8
    one.guard = type(one.guard)(settings)
    assert max(one.guard.ceiling_cdeg) == EMITTER_CEILING_CDEG


@pytest.mark.parametrize(
    ("ceiling_cdeg", "most_cdeg"),
    [(HARD_CEILING_CDEG, MOST_VALID_CDEG), (EMITTER_CEILING_CDEG, MOST_VALID_EMITTER_CDEG)],
)
def test_reading_is_believed_up_to_what_its_place_can_have(ceiling_cdeg, most_cdeg):
    one = Readings(Settings(bench_settings(channels=(("a", 1, ceiling_cdeg, 0, 4096),))))

    def read(hot_c):
        one.update(word(hot_c).to_bytes(4, "big") + bytes(28), 1, 0)
        return one.cdeg[0]

    assert read(most_cdeg / 100 - 1) == pytest.approx(most_cdeg - 100, abs=60)
    assert read(most_cdeg / 100 + 1) == NO_READING_CDEG
    assert one.fault[0] == trip_codes.SENSOR_RANGE


# Going on in hot air: the board, or what is on it, is as hot as the air has made it.


def test_run_that_goes_on_in_hot_air_has_the_limits_of_hot_air():
    stages = [hold(9000, 20), hot_air(9000, prompt=4), cool()]
    plan = build_plan(
        stages, role2=ROLE_CHIP_TOP, in_jet_channels=0b100, limit2_cdeg=15000,
        air_limit2_cdeg=25000,
    )  # fmt: skip
    channels = tuple((f"couple{n}", 1, HARD_CEILING_CDEG, 0, 4096) for n in range(3))
    bench = Bench(plan, bench_settings(channels=channels))
    bench.board_c = [90.0, 90.0, 90.0]
    bench.to_run()
    bench.until_stage(1)
    bench.tick(3)
    bench.acknowledge(4)
    bench.tick(3)
    bench.board_c[2] = 220.0
    bench.tick(50)
    bench.raw = {1: OPEN_WORD}
    bench.tick(3)
    assert bench.trip == trip_codes.SENSOR_OPEN
    bench.raw = {}
    bench.board_c[2] = 180.0
    bench.tick(15)
    go_on(bench, stage=1)
    bench.tick(20)
    assert bench.trip == trip_codes.NO_TRIP and bench.record.withheld == 0
    bench.board_c[2] = 251.0
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert bench.trip == trip_codes.OVER_TEMPERATURE


def test_run_that_goes_on_before_hot_air_has_the_limits_without_it():
    bench = mended(bench=running(limit0_cdeg=8000, air_limit0_cdeg=20000))
    go_on(bench, stage=HOLD)
    bench.board_c[0] = 81.0
    bench.tick(DOUBTFUL_TICKS_TO_LATCH)
    assert bench.trip == trip_codes.OVER_TEMPERATURE
