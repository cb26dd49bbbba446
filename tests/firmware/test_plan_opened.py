"""A checked plan, opened: its tables, and what each role counts for."""

from zlib import crc32

import pytest

from emberbed_fw import plan as layout
from emberbed_fw import safety_limits
from emberbed_fw.plan import Plan
from emberbed_fw.plan_check import find_fault
from emberbed_fw.settings import Settings
from emberbed_fw.units import CHANNELS, NONE, ZONES
from tests.support.plans import bench_settings, build_plan, cool, hold, patch_plan, ramp, wait

STAGES = [ramp(2500, 9000, 600), hold(9000, 300), wait(9000, prompt=1), cool()]
GOOD = build_plan(STAGES)


def header(**changed):
    """Return the plan with another header; hot air lifts no limit by itself."""
    return build_plan(STAGES, **changed)


def test_roles_say_what_a_channel_counts_for():
    ceilings = [90000 if n == layout.ROLE_EMITTER else 26000 for n in range(CHANNELS)]
    channels = [(f"couple{n}", 1, ceiling, 0, 4096) for n, ceiling in enumerate(ceilings)]
    roles = {f"role{role}": role for role in range(layout.ROLE_PAIR + 1)}
    block = header(
        control0=1, in_jet_channels=1 << layout.ROLE_EDGE, pause4_cdeg=8000, pause2_cdeg=8000,
        **{f"limit{n}_cdeg": 11000 for n in range(CHANNELS)}, **roles, partner6=1,
    )  # fmt: skip
    assert find_fault(block, Settings(bench_settings(channels=channels))) == layout.PLAN_FINE
    plan = Plan(block)
    named = {
        name: {layout.ROLE_NAMES[plan.role[c]] for c in range(CHANNELS) if getattr(plan, name)[c]}
        for name in ("on_board", "near_solder", "tells_spread", "pause_cdeg", "off_jet")
    }
    # the edge sensor is in the jet here: it says nothing about the board's evenness
    assert named == {
        "on_board": {"control", "edge", "chip_top", "neighbour", "pair"},
        "near_solder": {"control", "chip_top"},
        "tells_spread": {"control", "pair"},
        "pause_cdeg": {"neighbour"},
        "off_jet": {"control", "neighbour", "pair"},
    }


@pytest.mark.parametrize("role", range(1, layout.ROLE_PAIR + 1))
def test_couple_at_an_emitter_is_used_for_nothing_else(role):
    channels = (("a", 1, 26000, 0, 4096), ("b", 1, safety_limits.HARD_CEILING_CDEG + 1, 0, 4096))
    device = Settings(bench_settings(channels=channels))
    block = header(role1=role, partner1=0, pause1_cdeg=9500, limit1_cdeg=10000)
    fits = role == layout.ROLE_EMITTER
    assert find_fault(block, device) == (layout.PLAN_FINE if fits else layout.PLAN_CHANNEL)


@pytest.mark.parametrize("role", range(1, layout.ROLE_PAIR + 1))
def test_couple_on_a_board_is_never_called_one_at_an_emitter(role):
    block = header(role1=role, partner1=0, pause1_cdeg=9500, limit1_cdeg=10000)
    fits = role != layout.ROLE_EMITTER
    found = find_fault(block, Settings(bench_settings()))
    assert found == (layout.PLAN_FINE if fits else layout.PLAN_CHANNEL)


def test_opens_as_built():
    plan = Plan(patch_plan(GOOD, "knot", 1, feedforward0_q15=1234))
    assert plan.stages == 4
    assert list(plan.stage["kind"]) == [layout.RAMP, layout.HOLD, layout.WAIT, layout.COOL]
    assert list(plan.knot["setpoint_cdeg"]) == [2500, 9000, 9000, 9000, 9000]
    assert plan.feedforward_q15[0][1] == 1234
    assert plan.in_use == [True, True] + [False] * (CHANNELS - 2)
    assert plan.control == [0] + [NONE] * (ZONES - 1)
    block = patch_plan(GOOD, "knot", 1, feedforward0_q15=1234)
    assert plan.crc_low | plan.crc_high << 16 == crc32(block[:-4])
