"""Plans bent in one place."""

from emberbed_fw import plan as layout
from tests.support.plans import (
    build_plan,
    cool,
    hold,
    patch_plan,
    ramp,
    wait,
)

STAGES = [ramp(2500, 9000, 600), hold(9000, 300), wait(9000, prompt=1), cool()]
GOOD = build_plan(STAGES)


def header(**changed):
    """Return the plan with fields of its header changed; hot air lifts no limit by itself."""
    air = {f"air_{name}": value for name, value in changed.items() if name.startswith("limit")}
    return patch_plan(GOOD, **{**air, **changed})


EMITTER = header(role1=layout.ROLE_EMITTER)
