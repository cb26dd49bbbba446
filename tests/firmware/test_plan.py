"""The plan: every way it can be unfit is found and named."""

import pytest

from emberbed_fw import plan as layout
from emberbed_fw import safety_limits
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.plan_check import find_fault
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.settings import Settings
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, MIN_CDEG, NONE
from tests.support.bent_plans import EMITTER, GOOD, STAGES, header
from tests.support.plans import (
    bench_settings,
    build_plan,
    cool,
    hold,
    hot_air,
    patch_plan,
    ramp,
    seal,
    wait,
)

SETTINGS = Settings(bench_settings())


def fault_of(block):
    return find_fault(block, SETTINGS)


def stage(row, **changed):
    return patch_plan(GOOD, "stage", row, **changed)


def knot(row, **changed):
    return patch_plan(GOOD, "knot", row, **changed)


def bent(second, third):
    """Return a ramp with three knots, the last rise 140 degC."""
    return dict(kind=layout.RAMP, target_cdeg=14500, knots=[(0, 0), (second, 500), (third, 14500)])


def neighbour(pause_cdeg):
    """Return the plan with a neighbour on channel 1 that trips at 110 degC."""
    return header(role1=layout.ROLE_NEIGHBOUR, limit1_cdeg=11000, pause1_cdeg=pause_cdeg)


def with_hot_air(**changed):
    return patch_plan(build_plan([*STAGES[:-1], hot_air(9000), cool()]), **changed)


NO_WAIT_PROMPTS = range(layout.MAX_PROMPT + 1, NONE + 1)
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
    "unknown stage kind": (stage(1, kind=layout.POWER + 1), layout.PLAN_KIND),
    "hot air that nobody brings for ever": (
        stage(2, kind=layout.HOT_AIR, answer_ticks=0), layout.PLAN_TIME,
    ),
    "hot air that nobody brings for more than a day": (
        stage(2, kind=layout.HOT_AIR, answer_ticks=layout.MAX_LONGEST_TICKS + 1), layout.PLAN_TIME,
    ),
    "hot air on the control sensor": (with_hot_air(in_jet_channels=1), layout.PLAN_CHANNEL),
    "open loop above full power": (
        stage(1, kind=layout.POWER, power_q15=FULL_POWER_Q15 + 1), layout.PLAN_GAIN,
    ),
    "cap of a stage above full power": (stage(0, cap_q15=FULL_POWER_Q15 + 1), layout.PLAN_GAIN),
    "spread that no board has": (
        stage(0, spread_cdeg=layout.MAX_SPREAD_CDEG + 1), layout.PLAN_TEMPERATURE,
    ),
    "hold that needs a channel without a role": (
        stage(1, needed_channels=1 << 2), layout.PLAN_CHANNEL,
    ),
    "couple on a board that is called one at an emitter": (EMITTER, layout.PLAN_CHANNEL),
    "changes of a person below the peak": (
        header(most_setpoint_cdeg=8999), layout.PLAN_TEMPERATURE,
    ),
    "changes of a person above the hard ceiling": (
        header(most_setpoint_cdeg=safety_limits.HARD_CEILING_CDEG + 1), layout.PLAN_TEMPERATURE,
    ),
    "fan that starts at no time we know": (
        header(fan_starts=layout.FAN_NEVER + 1), layout.PLAN_CHANNEL,
    ),
    "neighbour without a pause": (neighbour(0), layout.PLAN_TEMPERATURE),
    "neighbour that trips before it pauses": (neighbour(11000), layout.PLAN_TEMPERATURE),
    "pair without a partner": (header(role1=layout.ROLE_PAIR), layout.PLAN_CHANNEL),
    "pair with itself": (header(role1=layout.ROLE_PAIR, partner1=1), layout.PLAN_CHANNEL),
    "pair with a channel without a role": (
        header(role1=layout.ROLE_PAIR, partner1=2), layout.PLAN_CHANNEL,
    ),
    "pair with a channel beyond the last": (
        header(role1=layout.ROLE_PAIR, partner1=CHANNELS), layout.PLAN_CHANNEL,
    ),
    "limit above the channel's ceiling": (header(limit1_cdeg=26001), layout.PLAN_TEMPERATURE),
    "limit below absolute zero": (header(limit0_cdeg=MIN_CDEG), layout.PLAN_TEMPERATURE),
    "limit no number has": (header(limit0_cdeg=2**31 - 1), layout.PLAN_TEMPERATURE),
    "limit under hot air below the limit": (
        header(limit0_cdeg=9500, air_limit0_cdeg=9499), layout.PLAN_TEMPERATURE,
    ),
    "limit under hot air above the channel's ceiling": (
        header(air_limit1_cdeg=26001), layout.PLAN_TEMPERATURE,
    ),
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
    "limit under hot air at the channel's ceiling": header(air_limit1_cdeg=26000),
    "peak at the hard ceiling": header(
        peak_cdeg=safety_limits.HARD_CEILING_CDEG,
        most_setpoint_cdeg=safety_limits.HARD_CEILING_CDEG,
    ),
    "changes of a person up to the peak": header(most_setpoint_cdeg=9000),
    "hot air away from the control sensor": with_hot_air(in_jet_channels=0b10),
    "control sensor in a jet that never comes": header(in_jet_channels=1),
    "hot air that nobody brings for a day": stage(
        2, kind=layout.HOT_AIR, answer_ticks=layout.MAX_LONGEST_TICKS,
    ),
    "open loop at full power": stage(1, kind=layout.POWER, power_q15=FULL_POWER_Q15),
    "cap of a stage at full power": stage(0, cap_q15=FULL_POWER_Q15),
    "largest spread": stage(0, spread_cdeg=layout.MAX_SPREAD_CDEG),
    "hold that needs the edge": stage(1, needed_channels=1 << 1),
    "fan that never starts": header(fan_starts=layout.FAN_NEVER),
    "neighbour that pauses just before it trips": neighbour(10999),
    "last prompt of a profile": stage(2, prompt=layout.MAX_PROMPT),
    "prompt of a stage that asks nothing": stage(1, prompt=NONE),
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
    "last of the roles": header(role1=layout.ROLE_PAIR, partner1=0),
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
    elsewhere = {layout.PLAN_FINE, layout.PLAN_ROOM}  # what memory has no room for: block_requests
    assert provoked | elsewhere == set(range(len(layout.PLAN_FAULTS)))


def test_tighter_ceiling_of_the_device_is_what_counts():
    channels = (("a", 1, 10000, 0, 4096), ("b", 1, 26000, 0, 4096))
    tight = Settings(bench_settings(channels=channels))
    assert find_fault(GOOD, tight) == layout.PLAN_TEMPERATURE
    assert find_fault(header(limit0_cdeg=10000), tight) == layout.PLAN_FINE


# Questions of the device itself are not a profile's: a tap would never answer them.


@pytest.mark.parametrize("kind", [layout.WAIT, layout.HOT_AIR])
@pytest.mark.parametrize("prompt", NO_WAIT_PROMPTS)
def test_stage_that_asks_has_a_prompt_of_the_profile(kind, prompt):
    block = stage(2, kind=kind, answer_ticks=600, prompt=prompt)
    assert layout.PLAN_FAULTS[fault_of(block)] == layout.PLAN_FAULTS[layout.PLAN_KIND]


def test_no_question_of_the_device_is_one_of_the_profile():
    assert min(GO_ON_PROMPT, AIR_AWAY_PROMPT, LONGER_PROMPT) > layout.MAX_PROMPT
