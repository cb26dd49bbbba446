"""The compiler: bytes as the firmware's tables say."""

import struct
import zlib

import crcmod.predefined
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.heater.default_gains import Gains
from emberbed.profiles.compile import PlanRefused, compile_plan, decode_plan, prompts
from emberbed.profiles.plan_bytes import pack_plan
from emberbed_fw import plan as layout
from emberbed_fw.plan_check import find_fault
from emberbed_fw.units import NONE
from tests.host.profiles.profile_texts import (
    AIR,
    COOL,
    GOOD,
    HOLD,
    NAMES,
    RAMP,
    SETTINGS,
    WAIT,
    WITH_AIR,
    changed,
    compiled,
    read,
)

# Written a second time on purpose, from the words of the contract and not from the tables.
HEADER = "<BBHiiIHH HHHHHBI HHBB 8B 8B 8i 8i 8i 4B 4H 4I 4I 4I 4H 4B 4H"
STAGE = "<BBBHiHHHHHHIIIHH"
KNOT = "<Ii4H"


def test_the_bytes_have_the_contract_layout():
    data = compiled()
    header = struct.unpack_from(HEADER, data)
    # the peak of 140 is 10 degC below Tg already: changes reach no higher
    assert header[:6] == (3, 5, 7, 14000, 14000, header[5])
    # no watts known: the guard models nothing, and asks for no budget
    assert header[6:15] == (0,) * 9
    header = header[:6] + header[13:]
    # handled below 50 degC; the fan waits for SAC305, solid below 217, less 10
    assert header[6:12] == (0, 0, 5000, 20700, 0, 0)
    assert header[12:28] == (1, 2, 0, 0, 0, 0, 0, 0) + (255,) * 8
    # limits before and after hot air, which this profile has not; nothing pauses the ramp
    assert header[28:52] == ((16000, 16000) + (0,) * 6) * 2 + (0,) * 8
    assert header[52:56] == (0, 255, 255, 255)
    assert header[56:60] == (round(0.6 * 32768), 0, 0, 0)
    sizes = struct.calcsize(HEADER) + 5 * struct.calcsize(STAGE) + 7 * struct.calcsize(KNOT)
    assert len(data) == sizes + 4
    ramp, hold, wait = (
        struct.unpack_from(STAGE, data, struct.calcsize(HEADER) + n * struct.calcsize(STAGE))
        for n in range(3)
    )
    # kind, prompt, needs, marks; target, band, spread, hold-back, fastest, power, cap;
    # answer, remind, longest; first knot, knots
    assert ramp == (0, 255, 0, 0, 8800, 300, 1000, 800, 0, 0, 0, 0, 0, 2334, 0, 2)
    assert hold == (1, 255, 0, 0, 8800, 500, 0, 0, 0, 0, 0, 0, 0, 2400, 2, 2)
    assert wait == (2, 0, 0, 1, 8800, 0, 0, 0, 0, 0, 0, 0, 300, 3000, 4, 1)


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
    body = b"\x01" + compiled()[1:-4]
    with pytest.raises(ValueError, match="format version 1"):
        decode_plan(body + struct.pack("<I", zlib.crc32(body)))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_flipped_bit_is_noticed(data):
    spoilt = bytearray(compiled())
    spoilt[data.draw(st.integers(0, len(spoilt) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    with pytest.raises(ValueError):
        decode_plan(bytes(spoilt))
    assert find_fault(bytes(spoilt), SETTINGS) != layout.PLAN_FINE


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


def test_prompts_are_numbered_over_waits_and_hot_air():
    text = WITH_AIR.replace(COOL, WAIT.replace("Apply flux", "Take it off") + COOL)
    plan = decode_plan(compiled(text))
    assert [row["prompt"] for row in plan.stages] == [NONE, NONE, 0, NONE, NONE, 1, 2, NONE]
    hot_air = "Bring the hot air over the chip, then answer"
    assert prompts(read(text).model) == ["Apply flux", hot_air, "Take it off"]


def test_hot_air_holds_the_soak_and_waits_for_its_nozzle():
    plan = decode_plan(compiled(WITH_AIR.replace(AIR, AIR + "longest_s = 200\nremind_s = 45\n")))
    row = plan.stages[5]
    assert (row["kind"], row["target_cdeg"]) == (3, 14000)
    assert (row["longest_ticks"], row["answer_ticks"], row["remind_ticks"]) == (2000, 6000, 450)
    assert [(knot["tick"], knot["setpoint_cdeg"]) for knot in plan.knots_of(5)] == [(0, 14000)]
    longest = sum(stage["longest_ticks"] + stage["answer_ticks"] for stage in plan.stages)
    assert plan.header["longest_run_ticks"] == longest + 2 * 36000


# messages.MARK_NAMES by hand: 1 flux on, 2 nozzle on, 3 solder moves, 4 chip off, 5 chip on, 6 air
# away, 7 note; four bits each, the first one lowest
MARKS = [
    (WAIT, 2, 0x1),
    (WAIT.replace("Apply flux", "Fit the nozzle"), 2, 0),
    (WAIT + "marks = []\n", 2, 0),
    (WAIT + 'marks = ["flux_on", "chip_on", "note", "note"]\n', 2, 0x7751),
    (AIR, 5, 0x632),
    (AIR + 'expects = "chip_off"\n', 5, 0x6432),
    (AIR + 'expects = "chip_on"\n', 5, 0x6532),
]


@pytest.mark.parametrize(("stage", "index", "packed"), MARKS)
def test_the_marks_of_a_stage(stage, index, packed):
    text = WITH_AIR.replace(WAIT if index == 2 else AIR, stage)
    assert decode_plan(compiled(text)).stages[index]["marks"] == packed


def test_needs_and_spread_of_holds_and_ramps():
    hold = HOLD + 'needs = ["edge", "edge"]\nspread_c = 7.5\n'
    text = changed(HOLD, hold).replace("rate_c_per_s = 0.4", "rate_c_per_s = 0.4\nspread_c = 0")
    ramp, hold_row, _wait, soak, _cool = decode_plan(compiled(text)).stages
    assert (hold_row["needed_channels"], hold_row["spread_cdeg"]) == (0b10, 750)
    assert (ramp["spread_cdeg"], soak["spread_cdeg"]) == (1000, 0)  # contracts: 10 degC


@pytest.mark.parametrize(("fan", "code"), [("when_solid", 0), ("on_press", 1), ("never", 2)])
def test_when_the_fan_starts(fan, code):
    header = decode_plan(compiled(changed(COOL, f'{COOL}fan = "{fan}"\n'))).header
    assert header["fan_starts"] == code


def test_an_unknown_solder_keeps_the_fan_off_longest():
    header = decode_plan(compiled(changed('"SAC305"', '"unknown"').replace("140", "120"))).header
    assert header["fan_below_cdeg"] == 12700  # tin-bismuth is solid below 137, less 10


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
