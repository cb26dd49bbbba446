"""The SSR heatsink's thermistor: a channel that no plan uses, and whose ceiling counts."""

import pytest

from emberbed_fw import plan as layout
from emberbed_fw import settings, trip_codes
from emberbed_fw.plan_check import find_fault
from emberbed_fw.safety_limits import DOUBTFUL_TICKS_TO_LATCH
from tests.support.bench import Bench
from tests.support.plans import bench_settings, build_plan, cool, hold, patch_plan

CEILING_CDEG = 8500
CHANNELS = (
    ("couple", settings.CONVERTER_MAX31855K, 26000, 0, 4096),
    ("ssr_heatsink", settings.CONVERTER_THERMISTOR, CEILING_CDEG, 0, 4096, 0),
)
# share of the supply, 16 bits, by R25 exp(3950 (1/T - 1/298.15)), computed apart
RATIO = {25: 32768, 84: 6605, 87: 6077}
OPEN_RATIO = 0xFFFF


def with_heatsink():
    plan = build_plan([hold(6000, 500), cool()], role1=layout.ROLE_ABSENT, limit1_cdeg=0)
    bench = Bench(plan, bench_settings(channels=CHANNELS))
    bench.board_c = [60.0, 0.0]
    at(bench, RATIO[25])
    return bench


def at(bench, ratio):
    bench.raw[1] = ratio << 16


def test_reading_is_in_the_record_and_needs_no_cold_junction():
    bench = with_heatsink()
    bench.tick(5)
    assert bench.record.channel_cdeg(1) == pytest.approx(2500, abs=10)
    assert bench.record.cold1_cdeg == bench.record.cold0_cdeg


def test_heatsink_above_its_ceiling_ends_the_heat():
    bench = with_heatsink().to_run()
    at(bench, RATIO[84])
    bench.tick(20)
    assert bench.trip == trip_codes.NO_TRIP and bench.record.withheld == 0
    at(bench, RATIO[87])
    bench.tick()
    assert bench.record.withheld & trip_codes.WITHHELD_OVER_TEMPERATURE
    bench.tick(DOUBTFUL_TICKS_TO_LATCH - 1)
    assert bench.trip == trip_codes.OVER_TEMPERATURE


def test_thermistor_that_is_off_is_told_and_stops_nothing():
    bench = with_heatsink().to_run()
    at(bench, OPEN_RATIO)
    bench.tick(20)
    assert bench.record.fault(1) == trip_codes.SENSOR_OPEN
    assert bench.trip == trip_codes.NO_TRIP and bench.record.withheld == 0


@pytest.mark.parametrize("role", [layout.ROLE_CONTROL, layout.ROLE_EDGE, layout.ROLE_EMITTER])
def test_plan_that_takes_it_for_a_couple_is_refused(role):
    bench = with_heatsink()
    taken = patch_plan(bench.plan, role1=role, limit1_cdeg=8000, air_limit1_cdeg=8000)
    assert find_fault(taken, bench.machine.settings) == layout.PLAN_CHANNEL
