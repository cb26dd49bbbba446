"""Plans for an identified heater: what the device takes, what is foretold, what is stretched."""

import numpy as np
import pytest

from emberbed.bench.with_heater import later_ramps, later_s
from emberbed.device_description import decode_settings
from emberbed.limit.feedforward import course_of, least_power, planner_for
from emberbed.profiles.compile import compile_plan, decode_plan
from emberbed_fw.plan import HOLD, RAMP
from emberbed_sim.bench_device import bench_settings
from tests.benchmarks.control.heaters import NOMINAL, bench_of
from tests.benchmarks.control.jobs import FEASIBLE, INFEASIBLE, profile_of
from tests.benchmarks.control.ours import heater_file

KIND = "halogen"  # the quickest to plan


@pytest.fixture(scope="module")
def values():
    return heater_file(KIND).values


@pytest.fixture(scope="module")
def course(values):
    return course_of(values, profile_of(FEASIBLE[KIND]), 23.0, 1.0)


@pytest.fixture(scope="module")
def plan(values):
    return planned(values, profile_of(FEASIBLE[KIND]))


def planned(values, profile, cap=1.0):
    device = decode_settings(bench_settings(bench_of(NOMINAL)))
    packed = compile_plan(
        profile, device.channel_names(), device.ceilings_cdeg(), None, cap,
        planner=planner_for(tuple(values.items()), 23.0),
    )  # fmt: skip
    return decode_plan(packed)


def test_device_takes_the_plan_and_no_preview_beside_it(plan):
    """compile_plan asks the firmware's own check."""
    assert any(knot["feedforward0_q15"] for knot in plan.knots)
    assert plan.header["preview0_ticks"] == 0


def test_setpoints_run_on_from_stage_to_stage(plan):
    """A jump upwards would make the device climb at a pace of its own (firmware's lead.py)."""
    stages = range(len(plan.stages) - 1)
    last = [plan.knots_of(number)[-1]["setpoint_cdeg"] for number in stages]
    first = [plan.knots_of(number)[0]["setpoint_cdeg"] for number in stages]
    assert max(abs(b - a) for a, b in zip(last, first[1:], strict=False)) <= 2


def test_hold_setpoints_stay_inside_the_band_that_counts(plan):
    for number, stage in enumerate(plan.stages):
        if stage["kind"] == HOLD:
            off = [abs(k["setpoint_cdeg"] - stage["target_cdeg"]) for k in plan.knots_of(number)]
            assert max(off) < stage["band_cdeg"]


def test_ramps_never_turn_back(plan):
    for number, stage in enumerate(plan.stages):
        if stage["kind"] == RAMP:
            assert (np.diff([k["setpoint_cdeg"] for k in plan.knots_of(number)]) >= 0).all()


def test_thinning_is_reported_and_small(course):
    assert 0 < course.off_c <= 0.3
    assert 0 < course.off_power <= 0.02


def test_feasible_profile_is_not_stretched(plan):
    assert not later_s(profile_of(FEASIBLE[KIND]), plan)


def test_infeasible_profile_becomes_as_long_as_it_needs(values):
    profile = profile_of(INFEASIBLE[KIND])
    assert max(later_s(profile, planned(values, profile)).values()) > 5
    stretched = course_of(values, profile, 23.0, 1.0)
    behind = -stretched.optimum.error_c.min()
    assert behind < 15, "what is planned can be followed"


def test_less_power_takes_longer(values):
    profile = profile_of(INFEASIBLE[KIND])
    full, less = (later_s(profile, planned(values, profile, cap)) for cap in (1.0, 0.5))
    assert sum(less.values()) > sum(full.values())


def test_what_will_take_longer_is_told_before_heat(values, plan):
    feasible, infeasible = profile_of(FEASIBLE[KIND]), profile_of(INFEASIBLE[KIND])
    assert later_ramps(feasible, plan) == []
    stretched = planned(values, infeasible)
    told = later_ramps(infeasible, stretched)
    asked_s = {2: 45 / 3, 4: 40 / 3}  # by hand: 45 and 40 degC at 3 degC/s
    late = {n: stretched.knots_of(n - 1)[-1]["tick"] / 10 - asked_s[n] for n in asked_s}
    number, late_s = max(late.items(), key=lambda one: one[1])
    assert f"stage {number}, " in " ".join(told)
    assert f"about {late_s:.0f} s longer" in " ".join(told)


@pytest.mark.parametrize("kind", ["ceramic", "quartz"])
def test_some_power_is_kept_to_take_back(kind):
    best = course_of(heater_file(kind).values, profile_of(FEASIBLE[kind]), 23.0, 1.0).optimum
    assert best.power.max() <= 1.0
    assert best.power.min() == pytest.approx(0.01, abs=1e-6)


def test_no_power_is_kept_where_a_level_is_below_the_one_before_it():
    assert least_power([9000, 9000, 15000]) == pytest.approx(0.01)
    assert least_power([15000, 9000]) == 0.0
