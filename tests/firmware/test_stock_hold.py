"""The plain hold of a device used alone: fit for every device, with the gains of the host."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed_fw import plan as layout
from emberbed_fw import safety_limits, stock_hold
from emberbed_fw.plan import Plan
from emberbed_fw.plan_check import find_fault
from emberbed_fw.settings import MAX_HOLD_CDEG, Settings
from emberbed_fw.units import FULL_POWER_Q15, TICKS_PER_MIN, ZONES
from tests.support.heated import HeatedBench
from tests.support.plans import bench_settings
from tests.support.profiles import hold_profile
from tests.support.tapes import plan_of


def offered(hold_cdeg, channels=None):
    more = {} if channels is None else {"channels": channels}
    return Settings(bench_settings(hold_cdeg=hold_cdeg, **more))


def couples(*ceilings_cdeg):
    return tuple((f"couple{n}", 1, ceiling, 0, 4096) for n, ceiling in enumerate(ceilings_cdeg))


def test_gains_are_those_of_the_hosts_unidentified_heater():
    header = Plan(stock_hold.build_hold(offered(11000))).header
    theirs = Gains()
    assert {name: header[name] for name in header if name[:2] in ("kp", "ki", "kd")} == {
        "kp0_q8": theirs.kp_q8(), "ki0_q14": theirs.ki_q14(), "kd0_q4": theirs.kd_q4(),
        **{f"k{part}{zone}_{unit}": 0 for part, unit in (("p", "q8"), ("i", "q14"), ("d", "q4"))
           for zone in range(1, ZONES)},
    }  # fmt: skip
    assert header["weight0_q8"] == round(theirs.setpoint_weight * layout.MAX_WEIGHT_Q8)
    assert header["filter0_shift"] == theirs.filter_shift
    assert header["preview0_ticks"] == theirs.preview_ticks
    assert header["cap0_q15"] == int(POWER_CAP * FULL_POWER_Q15)


def test_gains_are_those_that_the_compiler_gives_without_a_heater():
    compiled = Plan(plan_of(hold_profile())[0]).header
    ours = Plan(stock_hold.build_hold(offered(11000))).header
    for name in ours:
        if name[:2] in ("kp", "ki", "kd") or name[:6] in ("weight", "filter", "previe"):
            assert ours[name] == compiled[name], name
    assert abs(ours["cap0_q15"] - compiled["cap0_q15"]) <= 1


@pytest.mark.parametrize("hold_cdeg", [3000, 5000, 8000, 11000, MAX_HOLD_CDEG])
def test_it_passes_the_check_of_every_plan(hold_cdeg):
    device = offered(hold_cdeg)
    block = stock_hold.build_hold(device)
    assert layout.PLAN_FAULTS[find_fault(block, device)] == "fine"
    plan = Plan(block)
    assert list(plan.stage["kind"]) == [layout.RAMP, layout.HOLD, layout.COOL]
    assert plan.header["peak_cdeg"] == hold_cdeg
    assert plan.header["most_setpoint_cdeg"] == hold_cdeg + safety_limits.MOST_OFFSET_CDEG
    assert list(plan.stage["target_cdeg"])[:2] == [hold_cdeg, hold_cdeg]


def test_it_warms_by_three_tenths_of_a_degree_a_second():
    plan = Plan(stock_hold.build_hold(offered(11000)))
    ticks = plan.knot["tick"][1]
    assert (11000 - 2000) / ticks * 10 / 100 == pytest.approx(0.3, rel=0.01)


def test_it_holds_for_half_an_hour_and_every_stage_has_its_longest_time():
    plan = Plan(stock_hold.build_hold(offered(11000)))
    assert plan.knot["tick"][3] == 30 * TICKS_PER_MIN
    assert plan.stage["longest_ticks"][0] > plan.knot["tick"][1]
    assert plan.stage["longest_ticks"][1] > plan.knot["tick"][3]
    assert plan.header["longest_run_ticks"] > sum(list(plan.stage["longest_ticks"]))


def test_first_couple_controls_and_the_others_watch():
    absent = ("", 0, 0, 0, 0)
    device = offered(9000, (absent, *couples(26000, 26000, 26000)))
    block = stock_hold.build_hold(device)
    assert find_fault(block, device) == layout.PLAN_FINE
    plan = Plan(block)
    assert plan.control[0] == 1
    roles = [layout.ROLE_NAMES[role] for role in plan.role]
    assert roles == ["absent", "control", "edge", "edge"] + ["absent"] * 4


def test_couple_at_an_emitter_is_called_so_and_controls_nothing():
    device = offered(9000, couples(90000, 26000, 90000, 26000))
    block = stock_hold.build_hold(device)
    assert layout.PLAN_FAULTS[find_fault(block, device)] == "fine"
    plan = Plan(block)
    assert plan.control[0] == 1
    roles = [layout.ROLE_NAMES[role] for role in plan.role[:4]]
    assert roles == ["emitter", "control", "emitter", "edge"]


@settings(max_examples=60)
@given(
    st.integers(1, MAX_HOLD_CDEG),
    st.lists(st.integers(0, safety_limits.EMITTER_CEILING_CDEG), min_size=1, max_size=8),
)
def test_limit_of_a_channel_is_never_above_its_ceiling(hold_cdeg, ceilings_cdeg):
    device = offered(hold_cdeg, couples(*ceilings_cdeg))
    block = stock_hold.build_hold(device)
    if find_fault(block, device) == layout.PLAN_FINE:
        plan = Plan(block)
        for channel, ceiling_cdeg in enumerate(ceilings_cdeg):
            assert plan.limit_cdeg[channel] <= ceiling_cdeg


@pytest.mark.parametrize(
    ("hold_cdeg", "channels", "is_offered"),
    [
        (0, couples(26000), False), (9000, couples(26000), True), (9000, couples(9001), True),
        (9000, couples(9000), False), (9000, (), False),
        (9000, (("", 0, 0, 0, 0), *couples(26000)), True),
        (9000, couples(8000, 26000), False),  # the first one would control
        (9000, couples(90000, 26000), True), (9000, couples(90000, 8000), False),
        (9000, couples(90000), False),  # an emitter controls nothing
    ],
)  # fmt: skip
def test_it_is_offered_where_the_first_couple_bears_it(hold_cdeg, channels, is_offered):
    assert stock_hold.is_offered(offered(hold_cdeg, channels)) is is_offered


def test_device_without_any_couple_is_offered_nothing_that_passes():
    device = Settings(bench_settings(hold_cdeg=9000, channels=()))
    assert find_fault(stock_hold.build_hold(device), device) != layout.PLAN_FINE


def test_board_of_two_masses_is_held_by_it():
    device = bench_settings(hold_cdeg=11000)
    bench = HeatedBench(stock_hold.build_hold(Settings(device)), device).to_run()
    bench.until_stage(1, 12000)
    hottest = 0
    for _ in range(6000):
        bench.tick()
        hottest = max(hottest, bench.record.channel0_cdeg)
    assert hottest < 11000 + 500 and abs(bench.record.channel0_cdeg - 11000) < 150
