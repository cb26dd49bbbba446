"""The plan: every way it can be unfit is found and named, and no bytes make the check raise."""

import random
import struct
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw import plan as layout
from emberbed_fw import safety_limits
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.plan import Plan, find_fault
from emberbed_fw.settings import Settings
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, MIN_CDEG, NONE, ZONES
from tests.support.plans import (
    bench_settings,
    build_plan,
    cool,
    hold,
    patch_plan,
    ramp,
    seal,
    wait,
)

SETTINGS = Settings(bench_settings())
STAGES = [ramp(2500, 9000, 600), hold(9000, 300), wait(9000, prompt=1), cool()]
GOOD = build_plan(STAGES)
KNOTS_AT = layout.HEADER_BYTES + len(STAGES) * layout.STAGE_BYTES


def fault_of(block):
    return find_fault(block, SETTINGS)


def header(**changed):
    return patch_plan(GOOD, **changed)


def stage(row, **changed):
    return patch_plan(GOOD, "stage", row, **changed)


def knot(row, **changed):
    return patch_plan(GOOD, "knot", row, **changed)


def bent(second, third):
    """Return a ramp with three knots, the last rise 140 degC."""
    return dict(kind=layout.RAMP, target_cdeg=14500, knots=[(0, 0), (second, 500), (third, 14500)])


# One change each to a plan that is fine, and the row of PLAN_FAULTS that must name it.
UNFIT = {
    "one bit flipped": (GOOD[:-1] + bytes([GOOD[-1] ^ 1]), layout.PLAN_DAMAGED),
    "one bit flipped in the middle": (
        GOOD[:100] + bytes([GOOD[100] ^ 4]) + GOOD[101:], layout.PLAN_DAMAGED,
    ),
    "next format version": (header(version=layout.FORMAT_VERSION + 1), layout.PLAN_VERSION),
    "nothing at all": (b"", layout.PLAN_LENGTH),
    "only a header": (GOOD[: layout.HEADER_BYTES + 4], layout.PLAN_LENGTH),
    "one byte too many": (seal(GOOD + b"\0"), layout.PLAN_LENGTH),
    "one stage more than there is": (header(stages=len(STAGES) + 1), layout.PLAN_LENGTH),
    "one knot more than there is": (header(knots=6), layout.PLAN_LENGTH),
    "65 stages": (build_plan([wait(5000)] * 64 + [cool()]), layout.PLAN_LENGTH),
    "513 knots": (
        build_plan([dict(kind=layout.RAMP, target_cdeg=5000, knots=[(n, 5000) for n in range(513)]),
                    cool()]),
        layout.PLAN_LENGTH,
    ),
    "no stages": (
        seal(patch_plan(build_plan([cool()]), stages=0)), layout.PLAN_EMPTY,
    ),
    "no cooling at the end": (build_plan(STAGES[:-1]), layout.PLAN_NO_COOLING),
    "cooling in the middle": (build_plan([cool(), *STAGES]), layout.PLAN_NO_COOLING),
    "hot air": (stage(1, kind=layout.HOT_AIR), layout.PLAN_KIND),
    "open loop power": (stage(1, kind=layout.POWER), layout.PLAN_KIND),
    "unknown stage kind": (stage(1, kind=6), layout.PLAN_KIND),
    "limit above the channel's ceiling": (header(limit1_cdeg=26001), layout.PLAN_TEMPERATURE),
    "limit below absolute zero": (header(limit0_cdeg=MIN_CDEG), layout.PLAN_TEMPERATURE),
    "limit no number has": (header(limit0_cdeg=2**31 - 1), layout.PLAN_TEMPERATURE),
    "peak above the hard ceiling": (
        header(peak_cdeg=safety_limits.HARD_CEILING_CDEG + 1), layout.PLAN_TEMPERATURE,
    ),
    "handling above 50 degC": (
        header(handling_cdeg=safety_limits.HANDLING_CDEG + 1), layout.PLAN_TEMPERATURE,
    ),
    "handling no warm room reaches": (
        header(handling_cdeg=layout.LEAST_HANDLING_CDEG - 1), layout.PLAN_TEMPERATURE,
    ),
    "target above the peak": (stage(0, target_cdeg=9001), layout.PLAN_TEMPERATURE),
    "target below absolute zero": (stage(0, target_cdeg=-28000), layout.PLAN_TEMPERATURE),
    "unknown role": (header(role1=7), layout.PLAN_CHANNEL),
    "role on a channel that is not fitted": (header(role2=layout.ROLE_EDGE), layout.PLAN_CHANNEL),
    "no control sensor": (header(control0=NONE), layout.PLAN_CHANNEL),
    "control sensor without a role": (header(role0=0), layout.PLAN_CHANNEL),
    "control sensor beyond the last channel": (header(control0=CHANNELS), layout.PLAN_CHANNEL),
    "second zone": (header(control1=0), layout.PLAN_CHANNEL),
    "hold that lasts no time": (
        build_plan([dict(hold(5000, 10), knots=[(0, 5000)]), cool()]), layout.PLAN_KNOTS,
    ),
    "ramp without its end": (
        build_plan([dict(ramp(2500, 5000, 10), knots=[(0, 5000)]), cool()]), layout.PLAN_KNOTS,
    ),
    "cap above full power": (header(cap0_q15=FULL_POWER_Q15 + 1), layout.PLAN_GAIN),
    "Kp": (header(kp0_q8=layout.MAX_KP_Q8 + 1), layout.PLAN_GAIN),
    "Ki": (header(ki0_q14=layout.MAX_KI_Q14 + 1), layout.PLAN_GAIN),
    "Kd": (header(kd0_q4=layout.MAX_KD_Q4 + 1), layout.PLAN_GAIN),
    "Kp no small integer holds": (header(kp0_q8=2**32 - 1), layout.PLAN_GAIN),
    "setpoint weight": (header(weight0_q8=layout.MAX_WEIGHT_Q8 + 1), layout.PLAN_GAIN),
    "setpoint weight that the integral cannot make up for": (
        header(weight0_q8=0, kp0_q8=3000), layout.PLAN_GAIN,
    ),
    "filter": (header(filter0_shift=layout.MAX_FILTER_SHIFT + 1), layout.PLAN_GAIN),
    "preview": (header(preview0_ticks=layout.MAX_PREVIEW_TICKS + 1), layout.PLAN_GAIN),
    "no run time": (header(longest_run_ticks=0), layout.PLAN_TIME),
    "more than a day": (
        header(longest_run_ticks=layout.MAX_LONGEST_TICKS + 1), layout.PLAN_TIME,
    ),
    "wait for ever": (stage(2, longest_ticks=0), layout.PLAN_TIME),
    "wait for more than a day": (
        stage(2, longest_ticks=layout.MAX_LONGEST_TICKS + 1), layout.PLAN_TIME,
    ),
    "stage without knots": (stage(1, knots=0), layout.PLAN_KNOTS),
    "stage with knots beyond the last": (stage(2, first_knot=5), layout.PLAN_KNOTS),
    "stage that starts late": (knot(0, tick=1), layout.PLAN_KNOTS),
    "knots at the same tick": (knot(1, tick=0), layout.PLAN_KNOTS),
    "later knots at the same tick": (
        build_plan([bent(100, 100), cool()]), layout.PLAN_KNOTS,
    ),
    "knots that go back": (build_plan([bent(100, 99), cool()]), layout.PLAN_KNOTS),
    "knots later than a day": (knot(3, tick=layout.MAX_LONGEST_TICKS + 1), layout.PLAN_KNOTS),
    "knot above the peak": (knot(1, setpoint_cdeg=9001), layout.PLAN_KNOTS),
    "knot below absolute zero": (knot(1, setpoint_cdeg=-27000), layout.PLAN_KNOTS),
    "feedforward above full power": (
        knot(1, feedforward0_q15=FULL_POWER_Q15 + 1), layout.PLAN_KNOTS,
    ),
    # contracts, table of integers: 140 degC over 128 min would overflow
    "slope whose interpolation overflows": (
        build_plan([ramp(0, 14000, 128 * 600), cool()]), layout.PLAN_KNOTS,
    ),
}  # fmt: skip

# The same places, one step inside.
FIT = {
    "limit at the channel's ceiling": header(limit1_cdeg=26000),
    "peak at the hard ceiling": header(peak_cdeg=safety_limits.HARD_CEILING_CDEG),
    "handling in a warm room": header(handling_cdeg=layout.LEAST_HANDLING_CDEG),
    "target at the peak": stage(0, target_cdeg=9000),
    "cap at full power": header(cap0_q15=FULL_POWER_Q15),
    "largest gains": header(
        kp0_q8=layout.MAX_KP_Q8, ki0_q14=layout.MAX_KI_Q14, kd0_q4=layout.MAX_KD_Q4,
        filter0_shift=layout.MAX_FILTER_SHIFT, preview0_ticks=layout.MAX_PREVIEW_TICKS,
    ),
    "setpoint weight that the integral makes up for": header(weight0_q8=0, kp0_q8=900),
    "a whole day": header(longest_run_ticks=layout.MAX_LONGEST_TICKS),
    "64 stages": build_plan([wait(5000)] * 63 + [cool()]),
    "512 knots": build_plan(
        [dict(kind=layout.RAMP, target_cdeg=5000, knots=[(n, 5000) for n in range(512)]), cool()]
    ),
    "steepest slope that can be interpolated": build_plan([ramp(0, 14000, 38000), cool()]),
    "steep slope late in a long stage": build_plan([bent(500000, 500100), cool()]),
    "last knot after a whole day": build_plan(
        [bent(layout.MAX_LONGEST_TICKS - 100, layout.MAX_LONGEST_TICKS), cool()]
    ),
    "stage of a whole day": stage(2, longest_ticks=layout.MAX_LONGEST_TICKS),
    "last of the roles": header(role1=layout.ROLE_PAIR),
    "only cooling": build_plan([cool()]),
    "feedforward at full power": knot(1, feedforward0_q15=FULL_POWER_Q15),
}  # fmt: skip


def test_plan_is_fine():
    assert fault_of(GOOD) == layout.PLAN_FINE


@pytest.mark.parametrize(("block", "fault"), UNFIT.values(), ids=UNFIT)
def test_each_fault_is_named(block, fault):
    assert layout.PLAN_FAULTS[fault_of(block)] == layout.PLAN_FAULTS[fault]


@pytest.mark.parametrize("block", FIT.values(), ids=FIT)
def test_one_step_inside_is_fine(block):
    assert layout.PLAN_FAULTS[fault_of(block)] == "fine"


def test_every_row_of_the_table_is_provoked_here():
    provoked = {fault for _block, fault in UNFIT.values()}
    assert provoked | {layout.PLAN_FINE} == set(range(len(layout.PLAN_FAULTS)))


def test_tighter_ceiling_of_the_device_is_what_counts():
    channels = (("a", 1, 10000, 0, 4096), ("b", 1, 26000, 0, 4096))
    tight = Settings(bench_settings(channels=channels))
    assert find_fault(GOOD, tight) == layout.PLAN_TEMPERATURE
    assert find_fault(header(limit0_cdeg=10000), tight) == layout.PLAN_FINE


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
    assert layout.MAX_KD_Q4 * 4000 <= SMALL_INT_MAX
    assert layout.MAX_WEIGHT_Q8 * safety_limits.HARD_CEILING_CDEG <= SMALL_INT_MAX
    hottest = safety_limits.HARD_CEILING_CDEG - MIN_CDEG
    assert hottest * 64 + layout.MAX_LONGEST_TICKS <= SMALL_INT_MAX
