"""The compiler: bytes as the firmware's tables say, accepted and walked by the firmware itself."""

import struct
import zlib

import crcmod.predefined
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.heater.default_gains import Gains
from emberbed.profiles.compile import PlanRefused, compile_plan, decode_plan, prompts
from emberbed.profiles.nominal import WAIT_SHOWN_S, nominal_curve
from emberbed.profiles.plan_bytes import pack_plan
from emberbed_fw import plan as layout
from emberbed_fw import settings as device
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.units import NONE
from tests.host.profiles.profile_texts import (
    CEILINGS_CDEG,
    COOL,
    GOOD,
    HEAD,
    HOLD,
    NAMES,
    RAMP,
    WAIT,
    changed,
    read,
)

# Written a second time on purpose, from the words of the contract and not from the tables.
HEADER = "<BBHiIHHHHB 8B 8B 8i 8i 4B 4H 4I 4I 4I 4H 4B 4H"
STAGE = "<BBBBiHHHHIIHH"
KNOT = "<Ii4H"

SETTINGS = device.Settings(
    device.pack_settings(0, [(name, 1, 20000, 0, 4096) for name in NAMES[:2]], [(1000, 2)])
)


def compiled(text: str = GOOD, **more) -> bytes:
    return compile_plan(read(text).model, NAMES, CEILINGS_CDEG, **more)


def test_the_bytes_have_the_contract_layout():
    data = compiled()
    header = struct.unpack_from(HEADER, data)
    assert header[:10] == (1, 5, 7, 14000, header[4], 0, 0, 5000, 20700, 0)
    assert header[10:26] == (1, 2, 0, 0, 0, 0, 0, 0) + (255,) * 8
    assert header[26:42] == (16000, 16000) + (0,) * 14
    assert header[42:46] == (0, 255, 255, 255)
    assert header[46:50] == (round(0.6 * 32768), 0, 0, 0)
    sizes = struct.calcsize(HEADER) + 5 * struct.calcsize(STAGE) + 7 * struct.calcsize(KNOT)
    assert len(data) == sizes + 4
    hold = struct.unpack_from(STAGE, data, struct.calcsize(HEADER) + struct.calcsize(STAGE))
    assert hold == (1, 255, 0, 0, 8800, 300, 0, 0, 0, 0, 2400, 2, 2)


def test_the_crc_is_the_802_3_one_little_endian():
    data = compiled()
    (crc,) = struct.unpack("<I", data[-4:])
    assert crc == zlib.crc32(data[:-4]) == crcmod.predefined.mkCrcFun("crc-32")(data[:-4])


def test_it_comes_apart_as_it_was_put_together():
    data = compiled()
    plan = decode_plan(data)
    assert pack_plan(plan.header, plan.stages, plan.knots) == data


@pytest.mark.parametrize("spoil", [b"", b"\x01" * 3, b"\x01" * 500])
def test_other_bytes_are_no_plan(spoil):
    with pytest.raises(ValueError):
        decode_plan(spoil)


def test_another_format_version_is_no_plan():
    body = b"\x02" + compiled()[1:-4]
    with pytest.raises(ValueError, match="format version 2"):
        decode_plan(body + struct.pack("<I", zlib.crc32(body)))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_flipped_bit_is_noticed(data):
    spoilt = bytearray(compiled())
    spoilt[data.draw(st.integers(0, len(spoilt) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    with pytest.raises(ValueError):
        decode_plan(bytes(spoilt))
    assert layout.find_fault(bytes(spoilt), SETTINGS) != layout.PLAN_FINE


def test_stages_say_what_the_profile_says():
    plan = decode_plan(compiled())
    ramp, hold, wait, soak, cool = plan.stages
    assert [row["kind"] for row in plan.stages] == [0, 1, 2, 0, 4]
    assert [row["target_cdeg"] for row in plan.stages] == [8800, 8800, 8800, 14000, 5000]
    # (88 - 20) / 0.6 = 113.33 s and (140 - 88) / 0.4 = 130 s, in ticks and never steeper
    assert [(k["tick"], k["setpoint_cdeg"]) for k in plan.knots_of(0)] == [(0, 2000), (1134, 8800)]
    assert [(k["tick"], k["setpoint_cdeg"]) for k in plan.knots_of(3)] == [(0, 8800), (1300, 14000)]
    assert [(k["tick"], k["setpoint_cdeg"]) for k in plan.knots_of(1)] == [(0, 8800), (1200, 8800)]
    assert [(k["tick"], k["setpoint_cdeg"]) for k in plan.knots_of(2)] == [(0, 8800)]
    assert plan.knots_of(4) == []
    # default longest: 1.5 x planned or 120 s more, whichever is longer
    assert [ramp["longest_ticks"], hold["longest_ticks"]] == [1134 + 1200, 2400]
    assert [wait["longest_ticks"], wait["remind_ticks"], wait["prompt"]] == [3000, 300, 0]
    assert [ramp["band_cdeg"], ramp["hold_back_cdeg"]] == [300, 800]
    assert soak["band_cdeg"] == 300
    assert [cool["fastest_cdeg_per_min"], cool["longest_ticks"]] == [12000, 0]
    longest = sum(row["longest_ticks"] for row in plan.stages) + 2 * 36000
    assert plan.header["longest_run_ticks"] == longest


def test_what_the_profile_gives_comes_before_the_defaults():
    extra = "band_c = 5\nhold_back_c = 12\nlongest_s = 1000\n"
    ramp = decode_plan(compiled(changed(RAMP, RAMP + extra))).stages[0]
    assert (ramp["band_cdeg"], ramp["hold_back_cdeg"], ramp["longest_ticks"]) == (500, 1200, 10000)
    wait = decode_plan(compiled(changed(WAIT, WAIT + "remind_s = 45\n"))).stages[2]
    assert (wait["remind_ticks"], wait["band_cdeg"]) == (450, 0)


def test_waits_are_numbered_and_their_prompts_found():
    text = changed(COOL, WAIT.replace("Apply flux", "Take it off") + COOL)
    plan = decode_plan(compiled(text))
    assert [row["prompt"] for row in plan.stages] == [NONE, NONE, 0, NONE, 1, NONE]
    assert prompts(read(text).model) == ["Apply flux", "Take it off"]


def test_sensors_go_to_their_channels_with_their_limits():
    text = changed('edge = "edge"', 'edge = "edge"\nrod = "emitter"\nleft = "neighbour"')
    names = ["left", "", "rod", "edge", "", "top_near_chip", "", ""]
    ceilings = [15000, 0, 26000, 20000, 0, 20000, 0, 0]
    header = decode_plan(compile_plan(read(text).model, names, ceilings)).header
    assert [header[f"role{channel}"] for channel in range(8)] == [4, 0, 5, 2, 0, 1, 0, 0]
    limits = [header[f"limit{channel}_cdeg"] for channel in range(8)]
    # at most 20 degC above the peak of 140 degC and the device's own; for the emitter the latter
    assert limits == [15000, 0, 26000, 16000, 0, 16000, 0, 0]
    assert header["control0"] == 5


def test_gains_and_cap_are_the_given_ones():
    gains = Gains(kp_per_k=0.02, ki_per_k_s=0.0001, kd_s_per_k=0.5, setpoint_weight=0.9)
    header = decode_plan(compiled(gains=gains, power_cap=0.25)).header
    assert header["kp0_q8"] == pytest.approx(0.02 * 327.68 * 256, abs=0.5)
    assert header["ki0_q14"] == pytest.approx(0.0001 * 32.768 * 16384, abs=0.5)
    assert header["kd0_q4"] == pytest.approx(0.5 * 3276.8 * 16, abs=0.5)
    assert header["weight0_q8"] == 230
    assert header["cap0_q15"] == 8192
    assert header["kp1_q8"] == header["cap1_q15"] == header["filter3_shift"] == 0


@pytest.mark.parametrize(
    "more", [{"gains": Gains(kp_per_k=9)}, {"gains": Gains(filter_shift=9)}, {"power_cap": 1.1}]
)
def test_numbers_outside_the_device_are_refused(more):
    with pytest.raises(PlanRefused, match="outside what the device takes"):
        compiled(**more)


def test_gains_that_the_device_would_refuse_are_refused_here():
    # a setpoint weight of 0 at a high gain asks the integral for more than full power
    with pytest.raises(PlanRefused, match="controller numbers"):
        compiled(gains=Gains(kp_per_k=0.1, setpoint_weight=0))


def test_a_profile_that_does_not_fit_the_device_is_refused():
    with pytest.raises(PlanRefused, match='no channel "top_near_chip"'):
        compile_plan(read(GOOD).model, ["edge"] + [""] * 7, [20000] * 8)
    with pytest.raises(PlanRefused, match="allows 100 °C at top_near_chip"):
        compile_plan(read(GOOD).model, NAMES, [10000] * 8)
    with pytest.raises(PlanRefused, match="longest_s allows 10 s"):
        compiled(changed("for_s = 120", "for_s = 120\nlongest_s = 10"))


def test_the_longest_profile_fits_the_device():
    text = HEAD + RAMP + HOLD * 62 + COOL
    data = compiled(text)
    assert layout.find_fault(data, SETTINGS) == layout.PLAN_FINE
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
    data = compiled(HEAD + first + hold + WAIT + second + COOL)
    assert layout.find_fault(data, SETTINGS) == layout.PLAN_FINE
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
    data = compiled()
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
        acknowledged = 0 if walker.stage == 2 and walker.stage_tick >= wait_ticks - 1 else NONE
        walker.step(walker.setpoint_cdeg, acknowledged)
    assert walker.stage == 3


def test_the_drawn_curve_ends_below_the_cooling_temperature():
    plan = decode_plan(compiled())
    curve = nominal_curve(plan)
    assert curve[0] == (0, 20, 0)
    assert curve[-1][1:] == (50, 4)
    assert {stage for _s, _c, stage in curve} == {0, 1, 2, 3, 4}
    # 113.4 + 120 + 60 shown for the wait + 130 + 90 degC at 2 degC/s
    assert curve[-1][0] == pytest.approx(113.4 + 120 + 60 + 130 + 45)
    assert all(a[0] <= b[0] for a, b in zip(curve, curve[1:], strict=False))
