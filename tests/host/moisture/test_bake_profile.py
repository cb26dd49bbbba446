"""A bake as a profile: what the device can run, and who has to stay."""

from dataclasses import replace

import pytest

from emberbed.device_description import decode_settings
from emberbed.moisture.bake_profile import LONGEST_H, attendance, bake_profile
from emberbed.profiles.check import check_profile, has_errors
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.model import Hold
from emberbed.profiles.reader import parse_profile
from emberbed.rehearse import bench_settings
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.plant.parameters import BenchParameters
from tests.host.profiles.profile_texts import CEILINGS_CDEG, NAMES


@pytest.mark.parametrize(("oven_c", "hours"), [(90, 33), (125, 9), (125, 48), (40, 312), (60, 0.5)])
def test_it_is_a_profile_that_a_device_takes(oven_c, hours):
    made = bake_profile(oven_c, hours, ["top_near_chip", "edge"])
    file = parse_profile(made.text.encode(), "bake")
    assert not has_errors(check_profile(file, NAMES, CEILINGS_CDEG, 1000))
    assert compile_plan(file.model, NAMES, CEILINGS_CDEG)
    (hold,) = [one for one in file.model.stages if isinstance(one, Hold)]
    assert hold.for_s * made.runs == pytest.approx(hours * 3600, rel=1e-4)
    assert made.run_hours <= LONGEST_H


def test_a_day_is_all_that_a_run_lasts():
    # the plan's own longest run: 24 h
    assert bake_profile(125, LONGEST_H, ["a"]).runs == 1
    assert bake_profile(125, LONGEST_H + 0.1, ["a"]).runs == 2
    assert "one of 3 runs" in bake_profile(125, 48, ["a"]).text


@pytest.mark.parametrize("oven_c", [39, 126, float("nan")])
def test_outside_the_tables_columns_it_is_refused(oven_c):
    with pytest.raises(ValueError, match="the columns of the bake table"):
        bake_profile(oven_c, 5, ["a"])


@pytest.mark.parametrize("hours", [0, -1, float("nan"), 5000])
def test_no_bake_without_hours(hours):
    with pytest.raises(ValueError, match="are no bake"):
        bake_profile(90, hours, ["a"])


def test_it_is_left_alone_only_where_all_is_there():
    description = decode_settings(bench_settings(BenchParameters()))
    whole = replace(description, has_heat_sense=True, has_cut_out=True)
    for oven_c, device, lacks in [
        (125, whole, ""),
        (126, whole, "its peak is above 125 °C"),
        (125, replace(whole, has_heat_sense=False), "the device has no current sense"),
        (125, replace(whole, has_cut_out=False), "no independent cut-out is declared"),
        (125, None, "no device was asked"),
    ]:
        first, second = attendance(oven_c, device)
        assert "Somebody has to be there" in first
        assert lacks in second and ("could not be left alone" in second) == bool(lacks)


def test_the_run_is_as_long_as_it_says():
    file = parse_profile(bake_profile(90, 1, ["a"]).text.encode(), "bake")
    assert file.model.stages[1].for_s == 3600 and TICKS_PER_S == 10
