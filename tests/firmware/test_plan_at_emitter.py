"""A couple at an emitter serves for nothing on the board."""

import pytest

from emberbed_fw import plan as layout
from emberbed_fw import safety_limits
from emberbed_fw.plan_check import find_fault
from emberbed_fw.settings import Settings
from tests.support.bent_plans import EMITTER, header
from tests.support.plans import (
    bench_settings,
    patch_plan,
)

# A device with a couple at its emitter: no hold needs it, and it controls nothing.

AT_EMITTER = Settings(
    bench_settings(
        channels=(
            ("board", 1, safety_limits.HARD_CEILING_CDEG, 0, 4096),
            ("emitter", 1, safety_limits.HARD_CEILING_CDEG + 1, 0, 4096),
        )
    )
)


@pytest.mark.parametrize(
    ("block", "fault"),
    [
        (EMITTER, layout.PLAN_FINE),
        (patch_plan(EMITTER, "stage", 1, needed_channels=1 << 1), layout.PLAN_CHANNEL),
        (patch_plan(EMITTER, control0=1), layout.PLAN_CHANNEL),
        (header(role0=layout.ROLE_EMITTER, role1=layout.ROLE_EMITTER), layout.PLAN_CHANNEL),
    ],
)
def test_couple_at_an_emitter_serves_for_nothing_on_the_board(block, fault):
    found = find_fault(block, AT_EMITTER)
    assert layout.PLAN_FAULTS[found] == layout.PLAN_FAULTS[fault]
