"""Compiled plans are accepted and walked by the firmware as the drawn curve says."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.profiles.compile import decode_plan
from emberbed.profiles.nominal import WAIT_SHOWN_S, nominal_curve
from emberbed_fw import plan as layout
from emberbed_fw.plan_check import find_fault
from emberbed_fw.run_states import WAITS_NOTHING
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.units import NONE
from tests.host.profiles.profile_texts import (
    AIR,
    COOL,
    HEAD,
    HOLD,
    RAMP,
    SETTINGS,
    WAIT,
    WITH_AIR,
    changed,
    compiled,
)


def test_the_longest_profile_fits_the_device():
    for stages in (HOLD * 62, WAIT * 62, AIR * 62):
        data = compiled(HEAD + RAMP + stages + COOL)
        assert find_fault(data, SETTINGS) == layout.PLAN_FINE
        assert len(data) <= layout.MAX_PLAN_BYTES


@settings(max_examples=60, deadline=None)
@given(
    to_c=st.floats(60, 190),
    rate=st.floats(0.01, 3),
    second_c=st.floats(60, 190),
    for_s=st.floats(1, 20000),
)
def test_the_firmware_accepts_every_plan(to_c, rate, second_c, for_s):
    rise = f"rate_c_per_s = {rate!r}\n"
    first = f'[[stages]]\nkind = "ramp"\nto_c = {to_c!r}\n{rise}'
    second = f'[[stages]]\nkind = "ramp"\nto_c = {second_c!r}\n{rise}'
    hold = f'[[stages]]\nkind = "hold"\nfor_s = {for_s!r}\n'
    data = compiled(HEAD + first + hold + WAIT + second + AIR + COOL)
    assert find_fault(data, SETTINGS) == layout.PLAN_FINE
    plan = decode_plan(data)
    for stage in (0, 3):
        knots = plan.knots_of(stage)
        for first, then in zip(knots, knots[1:], strict=False):
            rise = abs(then["setpoint_cdeg"] - first["setpoint_cdeg"])
            ticks = then["tick"] - first["tick"]
            # the tick multiplies these two and adds half a divisor: it must stay a small int
            assert rise * ticks + ticks // 2 < 2**30
            # no steeper than asked, but for the rounding of a setpoint to 0.01 degC
            assert (rise - 1) / ticks <= rate * 10 + 1e-6


def test_a_slow_ramp_gets_more_knots():
    # 240 degC at 0.01 degC/s are 240,000 ticks: 24,000 x 240,000 is far above 2**30
    text = changed('"FR-4 Tg 150"', '"FR-4 Tg 170"').replace("to_c = 140", "to_c = 180")
    text = text.replace("rate_c_per_s = 0.4", "rate_c_per_s = 0.01")
    knots = decode_plan(compiled(text)).knots_of(3)
    assert len(knots) > 2
    assert (knots[0]["tick"], knots[0]["setpoint_cdeg"]) == (0, 8800)
    assert (knots[-1]["tick"], knots[-1]["setpoint_cdeg"]) == (92000, 18000)


def test_the_firmware_walks_the_curve_that_is_drawn():
    """With a board that follows exactly, the device's own sequencer gives the nominal curve."""
    data = compiled(WITH_AIR)
    drawn = nominal_curve(decode_plan(data))
    walker = Sequencer(layout.Plan(data))
    walker.begin(2000)
    wait_ticks = round(WAIT_SHOWN_S * 10)
    for tick in range(round(drawn[-2][0] * 10) - 10):
        seconds = tick / 10
        expected = next(
            a[1] + (b[1] - a[1]) * (seconds - a[0]) / (b[0] - a[0])
            for a, b in zip(drawn, drawn[1:], strict=False)
            if a[0] <= seconds < b[0]
        )
        # a stage changes one tick early or late, at 0.6 degC/s: 0.06 degC a tick
        assert walker.setpoint_cdeg / 100 == pytest.approx(expected, abs=0.4)
        answered = walker.stage in (2, 5) and walker.stage_tick >= wait_ticks - 1
        walker.step(walker.setpoint_cdeg, walker.prompt if answered else NONE, WAITS_NOTHING)
    assert walker.stage == 5


def test_the_drawn_curve_ends_below_the_cooling_temperature():
    plan = decode_plan(compiled())
    curve = nominal_curve(plan)
    assert curve[0] == (0, 20, 0)
    assert curve[-1][1:] == (50, 4)
    assert {stage for _s, _c, stage in curve} == {0, 1, 2, 3, 4}
    # 113.4 + 120 + 60 shown for the wait + 130 + 90 degC at 2 degC/s
    assert curve[-1][0] == pytest.approx(113.4 + 120 + 60 + 130 + 45)
    assert all(a[0] <= b[0] for a, b in zip(curve, curve[1:], strict=False))
