"""Requests of one tick bit by bit: the borders of what is taken."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import safety_limits
from emberbed_fw.plan import Plan
from emberbed_fw.units import NONE
from tests.support.bench import ALWAYS, FOLLOWS, Bench, arm_payload
from tests.support.trips import HOLD, mended


def ask(bench, kind, payload=b""):
    """Send one request alone; return its refusal's name."""
    bench.renews = False
    bench.send(kind, payload)
    bench.tick()
    assert len(bench.refusals) == 1
    return ms.REFUSAL_NAMES[bench.refusals[0]]


# RENEW


@pytest.mark.parametrize(
    ("named", "answer"),
    [
        (0x3FFF_FFFF, "TOO_OLD"),  # the last that a tick may be: not yet been
        (0x4000_0000, "BAD_RANGE"), (0x4000_0001, "BAD_RANGE"), (0xFFFF_FFFF, "BAD_RANGE"),
    ],
)  # fmt: skip
def test_no_tick_is_beyond_thirty_bits(named, answer):
    bench = Bench()
    bench.tick(5)
    assert ask(bench, ms.RENEW, struct.pack("<I", named)) == answer


@pytest.mark.parametrize("other_bit", range(30))
def test_every_bit_of_the_named_tick_counts(other_bit):
    bench = Bench()
    bench.machine.tick = 0x2AAA_AAAA
    named = bench.machine.tick ^ 1 << other_bit
    fresh = 0 <= bench.machine.tick - named <= safety_limits.ACK_AGE_TICKS
    assert ask(bench, ms.RENEW, struct.pack("<I", named)) == ("DONE" if fresh else "TOO_OLD")


# ACK_PROMPT and STAGE_REQUEST


@pytest.mark.parametrize(
    ("source", "answer"),
    [(0, "BAD_RANGE"), (1, "BAD_RANGE"), (2, "DONE"), (3, "DONE"), (4, "DONE"), (5, "BAD_RANGE")],
)
def test_sources_that_may_speak(source, answer):
    bench = Bench().to_wait()
    bench.tick()
    mark = struct.pack("<BhB", ms.MARK, 0, source)
    assert ask(bench, ms.STAGE_REQUEST, mark) == answer
    assert ask(bench, ms.ACK_PROMPT, bytes([7, source])) == answer


@pytest.mark.parametrize("amount", [-500, -256, -1, 1, 255, 256, 500])
def test_amount_is_a_signed_number_of_sixteen_bits(amount):
    bench = Bench().to_run()
    offset = struct.pack("<BhB", ms.OFFSET, amount, ms.BY_TERMINAL)
    assert ask(bench, ms.STAGE_REQUEST, offset) == "DONE"
    assert bench.machine.offset_cdeg() == amount


@pytest.mark.parametrize("amount", [0x7FFF, -0x8000, -0x7FFF])
def test_amount_at_the_ends_of_sixteen_bits_is_out_of_range(amount):
    bench = Bench().to_run()
    offset = struct.pack("<BhB", ms.OFFSET, amount, ms.BY_TERMINAL)
    assert ask(bench, ms.STAGE_REQUEST, offset) == "BAD_RANGE"
    assert bench.machine.offset_cdeg() == 0


@pytest.mark.parametrize("touch", sorted(ms.TOUCH_NAMES))
def test_only_harmless_touches_come_past_somebody_at_the_device(touch):
    bench = Bench().to_run()
    bench.machine.guard.attend(ms.ATTEND_PANEL)
    answer = ask(bench, ms.STAGE_REQUEST, struct.pack("<BhB", touch, 0, ms.BY_TERMINAL))
    assert (answer == "WRONG_STATE") is (touch not in (ms.COOL_DOWN, ms.MARK, ms.FAN_NOW))


# PLAN_WRITE and ARM


@pytest.mark.parametrize("bit", range(32))
def test_every_bit_of_the_plans_sum_counts(bit):
    bench = Bench()
    bench.machine.prepare(Plan(bench.plan))
    head = struct.pack("<HH", ms.END_OF_BLOCK, len(bench.plan))
    crc = struct.unpack("<I", bench.crc())[0]
    wrong = struct.pack("<I", crc ^ 1 << bit)
    assert ask(bench, ms.PLAN_WRITE, head + wrong) == "BAD_CRC"
    assert ask(bench, ms.PLAN_WRITE, head + bench.crc()) == "DONE"
    assert ask(bench, ms.ARM, wrong + arm_payload(bench.plan)[4:]) == "BAD_CRC"
    assert ask(bench, ms.ARM, arm_payload(bench.plan)) == "DONE"


def test_arming_needs_a_plan_and_its_state_whatever_goes_on():
    bench = Bench()
    for stage in (NONE, 0):
        assert ask(bench, ms.ARM, arm_payload(bench.plan, stage=stage)) == "WRONG_STATE"
    bench.load()
    bench.tick()
    assert ask(bench, ms.ARM, arm_payload(bench.plan, stage=0)) == "WRONG_STATE"
    assert bench.state == rs.LOADED


# Arming to go on: in the stage that was left, with no more of it done than was.


def offered():
    """Return a bench that may go on in its hold, of which 300 ticks and more were done."""
    bench = mended()
    assert bench.machine.sequencer.left_stage == HOLD
    bench.machine.sequencer.left_tick = 0x0001_0203
    return bench


@pytest.mark.parametrize(
    ("done_ticks", "answer"),
    [
        (0, "DONE"), (0x0001_0202, "DONE"), (0x0001_0203, "DONE"), (0x0001_0204, "BAD_RANGE"),
        (0x0001_0303, "BAD_RANGE"), (0x0002_0000, "BAD_RANGE"), (0x000F_FFFF, "BAD_RANGE"),
        (0x0010_0000, "BAD_RANGE"), (0xFFFF_FFFF, "BAD_RANGE"),
    ],
)  # fmt: skip
def test_no_more_is_done_than_was(done_ticks, answer):
    bench = offered()
    arm = arm_payload(bench.plan, stage=HOLD, done_ticks=done_ticks)
    assert ask(bench, ms.ARM, arm) == answer
    if answer == "DONE":
        assert bench.state == rs.COLD_PROOF
        going_on = bench.machine.sequencer
        assert (going_on.left_stage, going_on.left_tick) == (HOLD, done_ticks)


def test_longest_done_stage_stays_a_small_number():
    """20 bits: 29 hours, longer than any stage."""
    bench = offered()
    bench.machine.sequencer.left_tick = 0x3FFF_FFFF
    arm = arm_payload(bench.plan, stage=HOLD, done_ticks=0x0010_0000)
    assert ask(bench, ms.ARM, arm) == "BAD_RANGE"
    arm = arm_payload(bench.plan, stage=HOLD, done_ticks=0x000F_FFFF)
    assert ask(bench, ms.ARM, arm) == "DONE"


def test_nothing_goes_on_in_the_last_stage():
    """It only cools."""
    bench = offered()
    last = bench.machine.plan.stages - 1
    bench.machine.sequencer.left_stage = last
    assert ask(bench, ms.ARM, arm_payload(bench.plan, stage=last)) == "BAD_RANGE"
    bench.machine.sequencer.left_stage = last - 1
    assert ask(bench, ms.ARM, arm_payload(bench.plan, stage=last - 1)) == "DONE"


@pytest.mark.parametrize("attendance", [ms.ATTEND_HOST, ms.ATTEND_PANEL])
def test_whoever_arms_answers_for_what_goes_on(attendance):
    bench = offered()
    arm = arm_payload(bench.plan, attendance, HOLD, 5)
    assert ask(bench, ms.ARM, arm) == "DONE"
    assert bench.machine.guard.attendance == attendance


# SETTINGS_WRITE and SERVICE


def test_settings_are_handed_on_once_and_only_in_idle_with_open_switches():
    bench = Bench()
    bench.tick(3)
    assert ask(bench, ms.SETTINGS_WRITE, bytes(8)) == "BAD_RANGE", "none has come"
    received = bench.machine.received_settings = bench.settings
    bench.contactor = ALWAYS
    assert ask(bench, ms.SETTINGS_WRITE, bytes(8)) == "SWITCH_CLOSED"
    assert bench.machine.settings_to_keep is None
    bench.contactor = FOLLOWS
    bench.tick()
    assert ask(bench, ms.SETTINGS_WRITE, bytes(8)) == "DONE"
    assert bench.machine.settings_to_keep is received
    assert bench.machine.received_settings is None


def test_settings_are_not_handed_on_beside_a_plan():
    bench = Bench()
    bench.load()
    bench.tick()
    bench.machine.received_settings = bench.settings
    assert ask(bench, ms.SETTINGS_WRITE, bytes(8)) == "WRONG_STATE"
    assert bench.machine.settings_to_keep is None


@pytest.mark.parametrize(
    ("wanted", "answer"), [(0, "BAD_RANGE"), (1, "DONE"), (2, "DONE"), (3, "BAD_RANGE")]
)
def test_service_wants_one_of_its_words(wanted, answer):
    bench = Bench()
    bench.tick(3)
    assert ask(bench, ms.SERVICE, bytes([wanted])) == answer
    assert bench.state == (rs.SERVICE if answer == "DONE" else rs.IDLE)
    assert bench.machine.unplugged == (1 if wanted == ms.SERVICE_UNPLUGGED else 0)


@pytest.mark.parametrize(
    ("wanted", "answer"), [(ms.SERVICE_PLEASE, "WRONG_STATE"), (ms.SERVICE_UNPLUGGED, "DONE")]
)
def test_tripped_device_goes_to_service_only_unplugged(wanted, answer):
    bench = Bench()
    bench.tick(3)
    bench.machine.life.state = rs.TRIPPED
    assert ask(bench, ms.SERVICE, bytes([wanted])) == answer
    assert (bench.state == rs.SERVICE) is (answer == "DONE")
