"""The shipped profiles: no errors or warnings, accepted by the firmware, true to the trade."""

import pytest

from emberbed.materials.book import find_laminate
from emberbed.profiles.check import check_profile
from emberbed.profiles.compile import compile_plan, decode_plan, prompts
from emberbed.profiles.model import Cool, Hold, Ramp, Wait
from emberbed.profiles.plan_bytes import pack_plan
from emberbed.profiles.reader import read_profile
from emberbed.profiles.shipped import shipped_names
from emberbed.profiles.timing import spans
from emberbed_fw import plan as layout
from emberbed_fw import settings as device
from tests.host.profiles.profile_texts import CEILINGS_CDEG, NAMES

SETTINGS = device.Settings(
    device.pack_settings(0, [(name, 1, 20000, 0, 4096) for name in NAMES[:2]], [(1000, 2)])
)


def test_both_are_there():
    assert shipped_names() == ["label-printer", "weather-logger"]


@pytest.mark.parametrize("name", shipped_names())
def test_nothing_is_found_wrong(name):
    findings = check_profile(read_profile(name), NAMES, CEILINGS_CDEG, 1000)
    assert [finding.severity for finding in findings] == ["note"]


@pytest.mark.parametrize("name", shipped_names())
def test_the_firmware_accepts_it_with_the_default_gains(name):
    data = compile_plan(read_profile(name).model, NAMES, CEILINGS_CDEG)
    assert layout.PLAN_FAULTS[layout.find_fault(data, SETTINGS)] == "fine"
    plan = decode_plan(data)
    assert pack_plan(plan.header, plan.stages, plan.knots) == data


@pytest.mark.parametrize("name", shipped_names())
def test_it_obeys_the_rules_of_the_trade(name):
    profile = read_profile(name).model
    tg_c = find_laminate(profile.laminate).tg_c
    ramps = [stage for stage in profile.stages if isinstance(stage, Ramp)]
    # at least 10 degC below Tg: rework training rule of thumb (quoted in a repair forum)
    assert max(ramp.to_c for ramp in ramps) <= min(140, tg_c - 10)
    # ramps 0.6 to 1 degC/s at most: common practice, no source
    assert max(ramp.rate_c_per_s for ramp in ramps) <= 1
    cool = profile.stages[-1]
    # cooling below 2 degC/s: a chip maker's BGA rework sheet; tools below 50 degC: common practice
    assert isinstance(cool, Cool) and cool.fastest_c_per_s <= 2 and cool.below_c <= 50


@pytest.mark.parametrize("name", shipped_names())
def test_the_steps_come_in_the_order_of_the_trade(name):
    """Dry-out near 90, flux at 85 to 90, then hotter, a wait for the work at the top, cooling:
    common practice, no source."""
    found = spans(read_profile(name).model)
    dry_out = next(span for span in found if isinstance(span.stage, Hold))
    flux, work = (span for span in found if isinstance(span.stage, Wait))
    assert 8500 <= dry_out.to_cdeg <= 9500
    assert 8500 <= flux.to_cdeg <= 9000 and "flux" in prompts(read_profile(name).model)[0]
    assert work.to_cdeg == max(span.to_cdeg for span in found) > flux.to_cdeg
    assert dry_out.index < flux.index < work.index == len(found) - 2
