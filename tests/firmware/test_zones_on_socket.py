"""Several zones on one socket: never more on together than it bears, each in its turn."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.records import decode_record
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.plan_check import find_fault
from emberbed_fw.settings import Settings
from emberbed_fw.units import FULL_POWER_Q15, NONE, ZONES
from emberbed_fw.zone_power import ZonePower, within_socket
from tests.support.bench import Bench
from tests.support.plans import bench_settings, build_plan, cool, hold, patch_plan, power, ramp

TWO = dict(control1=1, cap1_q15=FULL_POWER_Q15, kp1_q8=2500, ki1_q14=100, weight1_q8=256)


def driven(watts, socket_w, demands, ticks, dwell=2):
    """Return the bits of every tick for these lasting demands (q15)."""
    powers = [ZonePower(dwell) for _zone in range(ZONES)]
    ticked = []
    for _tick in range(ticks):
        wanted = 0
        for zone, demand in enumerate(demands):
            wanted |= powers[zone].step(demand) << zone
        bits = within_socket(wanted, powers, watts, socket_w)
        for zone in range(ZONES):
            powers[zone].driven(bits >> zone & 1)
        ticked.append(bits)
    return ticked


def watts_of(bits, watts):
    return sum(one for zone, one in enumerate(watts) if bits >> zone & 1)


WATTS = st.lists(st.integers(100, 1500), min_size=ZONES, max_size=ZONES)
DEMANDS = st.lists(st.integers(0, FULL_POWER_Q15), min_size=2, max_size=ZONES)


@settings(max_examples=60, deadline=None)
@given(WATTS, st.integers(1500, 6000), DEMANDS, st.integers(1, 8))
def test_the_socket_is_never_passed_in_any_tick(watts, socket_w, demands, dwell):
    for bits in driven(watts, socket_w, demands, 300, dwell):
        assert watts_of(bits, watts) <= socket_w


@settings(max_examples=60, deadline=None)
@given(DEMANDS)
def test_a_socket_that_bears_them_all_changes_nothing(demands):
    watts = [300, 700, 200, 100]
    alone = [driven(watts, 0, [demand], 200) for demand in demands]  # a lone zone is never held
    together = driven(watts, 1300, demands, 200)
    for zone, bits in enumerate(alone):
        assert [tick >> zone & 1 for tick in together] == bits


def test_what_the_socket_bears_on_average_each_zone_gets():
    """Two zones of which one fits: any demands that fill the time up to the last tick are met
    (McNaughton 1959: work that fits one machine is done by taking turns)."""
    demands = [FULL_POWER_Q15 * 7 // 10, FULL_POWER_Q15 * 3 // 10]
    bits = driven([700, 600, 0, 0], 1000, demands, 3000)
    for zone, demand in enumerate(demands):
        on = sum(tick >> zone & 1 for tick in bits) / len(bits)
        assert on == pytest.approx(demand / FULL_POWER_Q15, abs=0.003)


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 8), DEMANDS)
def test_a_zone_that_has_gone_on_stays_on_for_its_least_time(dwell, demands):
    bits = driven([700, 600, 650, 800], 1000, [max(one, 1) for one in demands], 300, dwell)
    for zone in range(len(demands)):
        on = "".join(str(tick >> zone & 1) for tick in bits).strip("1")
        assert all(len(run) >= dwell for run in on.split("0") if run)


def two_zone_plan(**header):
    stages = [ramp(2500, 6000, 100, band_cdeg=200), hold(6000, 100, band_cdeg=200), cool()]
    return build_plan(stages, **{**TWO, **header})


@pytest.mark.parametrize(
    ("zones", "socket_watts", "fits"),
    [
        (((700, 2), (600, 2)), 1300, True),
        (((700, 2), (600, 2)), 700, True),  # in turns
        (((700, 2), (600, 2)), 699, False),  # one alone is too much
        (((700, 2), (600, 2)), 0, False),  # nobody knows what the socket gives
        (((700, 2),), 2300, False),  # there is no second zone
    ],
)
def test_a_plan_for_two_zones_fits_where_the_socket_bears_each(zones, socket_watts, fits):
    described = Settings(bench_settings(zones=zones, socket_watts=socket_watts))
    fault = find_fault(two_zone_plan(), described)
    assert fault == (layout.PLAN_FINE if fits else layout.PLAN_CHANNEL)


def test_the_first_zone_is_always_in_use():
    described = Settings(bench_settings(zones=((700, 2), (600, 2)), socket_watts=1300))
    assert find_fault(two_zone_plan(control0=NONE), described) == layout.PLAN_CHANNEL


def two_zone_bench(socket_watts, plan=None):
    block = bench_settings(zones=((700, 2), (600, 2)), socket_watts=socket_watts)
    return Bench(plan or two_zone_plan(), block)


def zones_of(bench):
    return {zone for record in bench.tape for zone in (0, 1) if driven_bits(record) >> zone & 1}


def driven_bits(packed):
    return decode_record(packed).driven_zones


@pytest.mark.parametrize("socket_watts", [700, 1299])
def test_a_whole_run_takes_turns_from_its_proof_on(socket_watts):
    bench = two_zone_bench(socket_watts).to_run()
    assert zones_of(bench) == {0, 1}  # the proof has shown both switches
    bench.board_c = [30.0, 30.0]
    bench.tick(200)
    assert zones_of(bench) == {0, 1}
    assert all(driven_bits(packed) != 3 for packed in bench.tape)


def test_both_are_on_together_where_the_socket_bears_it():
    bench = two_zone_bench(1300).to_run()
    bench.board_c = [30.0, 30.0]
    bench.tick(100)
    assert any(driven_bits(packed) == 3 for packed in bench.tape)


def test_each_zone_follows_its_own_sensor():
    bench = two_zone_bench(1300).to_run()
    bench.board_c = [75.0, 30.0]
    bench.until_stage(1)
    bench.tick(50)
    assert bench.record.demand0_q15 == 0 < bench.record.demand1_q15


def test_a_power_stage_may_mean_one_zone():
    plan = build_plan([power(0, 100, 6000), cool()], **TWO)
    with_own = patched(plan, feedforward1_q15=FULL_POWER_Q15 // 2)
    bench = two_zone_bench(1300, with_own).to_run()
    bench.tick(50)
    assert (bench.record.demand0_q15, bench.record.demand1_q15) == (0, FULL_POWER_Q15 // 2)
    assert bench.state == rs.RUN


def patched(plan, **fields):
    for row in (0, 1):
        plan = patch_plan(plan, "knot", row, **fields)
    return plan
