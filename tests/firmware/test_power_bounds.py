"""What bounds open loop power besides its own time: longest time, caps, and neighbours."""

import pytest

from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.units import FULL_POWER_Q15
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, power


def pushing(ticks=600, header=None, **stage):
    bench = Bench(
        build_plan([power(FULL_POWER_Q15, ticks, 8000, **stage), cool()], **(header or {}))
    )
    bench.to_run()
    return bench


@pytest.mark.parametrize("longest_ticks", [1, 50, 400])
def test_it_ends_at_its_longest_time_whatever_its_knots_say(longest_ticks):
    bench = pushing(longest_ticks=longest_ticks)
    ran = 1
    while bench.tick() != rs.COOL:
        ran += 1
        assert ran < 500, "it does not end"
    assert ran == longest_ticks
    assert bench.record.verdict == rs.FINISHED and bench.trip == trip_codes.NO_TRIP


@pytest.mark.parametrize(
    ("stage_cap", "zone_cap", "least"), [(3000, 32768, 3000), (0, 5000, 5000), (9000, 4000, 4000)]
)
def test_it_is_never_above_the_lesser_cap(stage_cap, zone_cap, least):
    bench = pushing(header=dict(cap0_q15=zone_cap), cap_q15=stage_cap)
    on = 0
    for _ in range(500):
        bench.tick()
        assert bench.record.demand0_q15 == least
        on += bench.heats
    assert on / 500 == pytest.approx(least / FULL_POWER_Q15, abs=0.02)


def test_it_pauses_while_a_neighbour_is_near_its_limit():
    header = dict(role1=layout.ROLE_NEIGHBOUR, pause1_cdeg=4000, limit1_cdeg=9000)
    bench = pushing(header=header)
    bench.tick(20)
    assert bench.heats
    bench.board_c = [25.0, 41.0]
    bench.tick(10)
    for _ in range(60):
        bench.tick()
        assert bench.record.demand0_q15 == 0 and not bench.heats
        assert bench.record.waits_for == rs.WAITS_NEIGHBOUR and bench.state == rs.RUN
    for edge_c in (40.0, 39.0, 38.0):  # no faster than a board cools
        bench.board_c = [25.0, edge_c]
        bench.tick(20)
    assert bench.record.demand0_q15 == FULL_POWER_Q15 and bench.heats
    bench.board_c = [25.0, 41.0]
    bench.tick(600)
    assert bench.state == rs.COOL, "its time runs on"
