"""The plan's bytes: its size, and no bytes make the check raise or pass what a tick cannot bear."""

import random
import struct
from zlib import crc32

from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw import plan as layout
from emberbed_fw import safety_limits
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.plan import Plan
from emberbed_fw.plan_check import find_fault
from emberbed_fw.settings import Settings
from emberbed_fw.units import MIN_CDEG
from tests.support.plans import bench_settings, build_plan, cool, hold, ramp, seal, wait

SETTINGS = Settings(bench_settings())
GOOD = build_plan([ramp(2500, 9000, 600), hold(9000, 300), wait(9000, prompt=1), cool()])


def fault_of(block):
    return find_fault(block, SETTINGS)


def test_largest_plan_has_the_declared_size():
    stages = [wait(5000)] * 62
    stages.append(dict(kind=layout.RAMP, target_cdeg=5000, knots=[(n, 5000) for n in range(450)]))
    largest = build_plan([*stages, cool()])
    assert len(largest) == layout.MAX_PLAN_BYTES
    assert fault_of(largest) == layout.PLAN_FINE


def check(block):
    """Judge a plan; what is called fine must have opened and have every declared range."""
    fault = fault_of(block)
    assert 0 <= fault < len(layout.PLAN_FAULTS)
    if fault == layout.PLAN_FINE:
        plan = Plan(block)
        assert max(plan.knot["setpoint_cdeg"], default=0) <= safety_limits.HARD_CEILING_CDEG
        assert plan.stage["kind"][plan.stages - 1] == layout.COOL
        assert interpolation_extreme(plan) <= SMALL_INT_MAX
    return fault


def interpolation_extreme(plan):
    """Return the largest intermediate that interpolation can reach in a checked plan."""
    extreme = 0
    for number in range(plan.stages - 1):  # the last one cools and has no knots
        first = plan.stage["first_knot"][number]
        for here in range(first, first + plan.stage["knots"][number] - 1):
            span = plan.knot["tick"][here + 1] - plan.knot["tick"][here]
            rise = abs(plan.knot["setpoint_cdeg"][here + 1] - plan.knot["setpoint_cdeg"][here])
            extreme = max(extreme, rise * span + span // 2, rise * 64 + span // 2)
    return extreme


def test_random_changes_never_raise():
    chance = random.Random(7)
    seen = set()
    for _ in range(3000):
        octets = bytearray(GOOD)
        for _change in range(chance.randrange(1, 4)):
            at = chance.randrange(len(octets) - 4)
            octets[at] = chance.choice((0, 1, 127, 128, 255, chance.randrange(256)))
        seen.add(check(seal(bytes(octets))))
    # the changes really reach most of the table, and some leave the plan fine
    assert len(seen) >= 8 and layout.PLAN_FINE in seen


@given(st.binary(max_size=600))
def test_any_bytes_never_raise(octets):
    check(octets)
    check(seal(octets + bytes(4)))


@given(
    st.integers(0, 5), st.integers(0, 5),
    st.binary(min_size=200, max_size=layout.MAX_PLAN_BYTES - layout.HEADER_BYTES),
)  # fmt: skip
def test_any_sealed_block_of_a_fitting_length_never_raises(stages, knots, filling):
    length = layout.HEADER_BYTES + stages * layout.STAGE_BYTES + knots * layout.KNOT_BYTES
    body = (GOOD[: layout.HEADER_BYTES] + filling + bytes(length))[:length]
    block = body[:1] + struct.pack("<BH", stages, knots) + body[4:]
    check(block + struct.pack("<I", crc32(block)))


def test_extremes_of_the_declared_ranges_stay_below_31_bits():
    error = 20000  # pid.ERROR_LIMIT_CDEG, asserted where it is used
    assert layout.MAX_KP_Q8 * error <= SMALL_INT_MAX
    assert layout.MAX_KD_Q4 * 1000 <= SMALL_INT_MAX  # pid.BEHIND_LIMIT_Q6
    assert layout.MAX_WEIGHT_Q8 * safety_limits.HARD_CEILING_CDEG <= SMALL_INT_MAX
    hottest = safety_limits.HARD_CEILING_CDEG - MIN_CDEG
    assert hottest * 64 + layout.MAX_LONGEST_TICKS <= SMALL_INT_MAX
