"""Requests as the tick takes them: every refusal, and what is accepted."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.plan import Plan
from emberbed_fw.safety_limits import ACK_AGE_TICKS, LEASE_TICKS, PANEL_TICKS
from emberbed_fw.units import NONE
from tests.support.bench import Bench, ack, arm_payload
from tests.support.plans import build_plan, cool, hold


def ask(bench, kind, payload=b""):
    """Send one request; return its refusal's name."""
    bench.renews = False
    bench.send(kind, payload)
    bench.tick()
    return ms.REFUSAL_NAMES[bench.refusals[-1]]


def loaded():
    bench = Bench()
    bench.load()
    bench.tick()
    assert bench.state == rs.LOADED
    return bench


def waiting():
    """Return a bench that waits at prompt 7."""
    bench = Bench().to_run()
    bench.board_c = [60.0, 60.0]
    bench.until(rs.WAIT)
    bench.tick()
    return bench


# RENEW


def test_renewal_gives_the_full_lease():
    bench = Bench()
    bench.tick(10)
    assert ask(bench, ms.RENEW, struct.pack("<I", bench.machine.tick)) == "DONE"
    assert bench.machine.guard.lease_left == LEASE_TICKS


@pytest.mark.parametrize(
    ("age", "answer"), [(0, "DONE"), (ACK_AGE_TICKS, "DONE"), (ACK_AGE_TICKS + 1, "TOO_OLD")]
)
def test_renewal_must_name_a_record_that_is_new(age, answer):
    bench = Bench()
    bench.tick(50)
    bench.renews = False
    bench.tick(30)
    assert bench.machine.guard.lease_left == 0
    assert ask(bench, ms.RENEW, struct.pack("<I", bench.machine.tick - age)) == answer
    assert (bench.machine.guard.lease_left > 0) is (answer == "DONE")


def test_renewal_names_ticks_of_a_long_day_too():
    bench = Bench()
    bench.machine.tick = 800_000
    assert ask(bench, ms.RENEW, struct.pack("<I", 800_000)) == "DONE"
    assert ask(bench, ms.RENEW, struct.pack("<I", 800_000 - 65536)) == "TOO_OLD"


def test_renewal_of_a_tick_that_has_not_been_is_refused():
    bench = Bench()
    bench.tick(5)
    assert ask(bench, ms.RENEW, struct.pack("<I", bench.machine.tick + 1)) == "TOO_OLD"


@pytest.mark.parametrize("tick", [2**30, 2**32 - 1])
def test_renewal_of_no_tick_of_ours_is_refused(tick):
    bench = Bench()
    bench.tick(5)
    assert ask(bench, ms.RENEW, struct.pack("<I", tick)) == "BAD_RANGE"


# PLAN_WRITE


def test_plan_is_stored():
    bench = loaded()
    assert bench.machine.plan is not None and bench.refusals[-1] == ms.DONE


def test_storing_without_a_plan_is_refused():
    assert ask(Bench(), ms.PLAN_WRITE, struct.pack("<HHI", 0xFFFF, 500, 0)) == "BAD_PLAN"


def test_storing_another_plan_than_the_one_received_is_refused():
    bench = Bench()
    bench.machine.prepare(Plan(bench.plan))
    head = struct.pack("<HH", 0xFFFF, len(bench.plan))
    crc = bytearray(bench.crc())
    for at in range(4):
        crc[at] ^= 1
        assert ask(bench, ms.PLAN_WRITE, head + bytes(crc)) == "BAD_CRC"
        crc[at] ^= 1
    assert bench.state == rs.IDLE


@pytest.mark.parametrize("state", ["COLD_PROOF", "RUN", "COOL"])
def test_plan_cannot_be_changed_from_arming_to_the_end(state):
    bench = Bench().to_armed()
    if state != "COLD_PROOF":
        bench.press().until(rs.RUN)
    if state == "COOL":
        bench.stop()
        bench.tick()
    before = bench.machine.plan
    bench.load(build_plan([hold(20000, 100), cool()]))
    bench.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == "WRONG_STATE"
    assert bench.machine.plan is before


# ARM


def test_arming_leads_to_the_cold_proof():
    bench = loaded()
    assert ask(bench, ms.ARM, arm_payload(bench.plan)) == "DONE"
    assert bench.state == rs.COLD_PROOF


@pytest.mark.parametrize(
    ("attendance", "lease"), [(ms.ATTEND_HOST, LEASE_TICKS), (ms.ATTEND_PANEL, PANEL_TICKS)]
)
def test_either_source_may_answer_for_the_heat(attendance, lease):
    bench = loaded()
    assert ask(bench, ms.ARM, arm_payload(bench.plan, attendance)) == "DONE"
    guard = bench.machine.guard
    assert (guard.attendance, guard.lease_left) == (attendance, lease)


@pytest.mark.parametrize("attendance", [0, ms.ATTEND_UNATTENDED, 255])
def test_other_attendance_is_not_offered(attendance):
    bench = loaded()
    assert ask(bench, ms.ARM, arm_payload(bench.plan, attendance)) == "NOT_OFFERED"
    assert bench.state == rs.LOADED


def test_arming_another_plan_than_the_stored_one_is_refused():
    bench = loaded()
    for at in range(4):
        crc = bytearray(bench.crc())
        crc[at] ^= 0x80
        assert ask(bench, ms.ARM, bytes(crc) + arm_payload(bench.plan)[4:]) == "BAD_CRC"
    assert bench.state == rs.LOADED


def test_arming_is_refused_outside_loaded():
    bench = Bench()
    assert ask(bench, ms.ARM, arm_payload(bench.plan)) == "WRONG_STATE"
    bench.to_armed()
    assert ask(bench, ms.ARM, arm_payload(bench.plan)) == "WRONG_STATE"
    assert bench.state == rs.COLD_PROOF


# ACK_PROMPT


def test_prompt_is_answered():
    bench = waiting()
    assert ask(bench, ms.ACK_PROMPT, ack(7)) == "DONE"
    assert bench.state == rs.RUN


@pytest.mark.parametrize("prompt", [0, 6, 8, 254, NONE])
def test_answer_to_another_prompt_is_refused(prompt):
    bench = waiting()
    assert ask(bench, ms.ACK_PROMPT, ack(prompt)) == "WRONG_PROMPT"
    assert bench.state == rs.WAIT


def test_answer_while_nothing_is_asked_is_refused():
    bench = Bench().to_run()
    assert ask(bench, ms.ACK_PROMPT, ack(NONE)) == "WRONG_PROMPT"
    assert ask(bench, ms.ACK_PROMPT, ack(7)) == "WRONG_PROMPT"


def test_answer_outside_a_run_is_refused():
    assert ask(Bench(), ms.ACK_PROMPT, ack(0)) == "WRONG_STATE"
    bench = waiting()
    bench.stop()
    bench.tick()
    # while it cools it might ask to go on; this answer is to another question
    assert ask(bench, ms.ACK_PROMPT, ack(7)) == "WRONG_PROMPT"
    bench.board_c = [25.0, 25.0]
    bench.until(rs.STOPPED)
    assert ask(bench, ms.ACK_PROMPT, ack(7)) == "WRONG_STATE"


def test_a_host_says_nothing_in_a_run_that_somebody_at_the_device_answers_for():
    bench = waiting()
    bench.machine.guard.attend(ms.ATTEND_PANEL)
    assert ask(bench, ms.ACK_PROMPT, ack(7)) == "WRONG_STATE"
    offset = struct.pack("<BhB", ms.OFFSET, 100, ms.BY_TERMINAL)
    assert ask(bench, ms.STAGE_REQUEST, offset) == "WRONG_STATE"
    assert bench.state == rs.WAIT and bench.record.touch == 0
    mark = struct.pack("<BhB", ms.MARK, 0, ms.BY_TERMINAL)
    assert ask(bench, ms.STAGE_REQUEST, mark) == "DONE"


NO_SOURCES = [ms.BY_NOBODY, ms.BY_BUTTON, ms.BY_SCRIPT + 1, 255]


@pytest.mark.parametrize("source", NO_SOURCES)
def test_nobody_speaks_for_the_button(source):
    bench = waiting()
    assert ask(bench, ms.ACK_PROMPT, ack(7, source)) == "BAD_RANGE"
    assert bench.state == rs.WAIT and bench.record.touch == 0
    for touch in (*ms.TOUCH_NAMES, 0, 99):
        payload = struct.pack("<BhB", touch, 0, source)
        assert ask(bench, ms.STAGE_REQUEST, payload) == "BAD_RANGE"
        assert bench.state == rs.WAIT and bench.record.touch == 0


@pytest.mark.parametrize("source", [ms.BY_TERMINAL, ms.BY_PAGE, ms.BY_SCRIPT])
def test_answer_is_told_with_its_source(source):
    bench = waiting()
    assert ask(bench, ms.ACK_PROMPT, ack(7, source)) == "DONE"
    assert (bench.record.touch, bench.record.touch_source) == (ms.ANSWER, source)
    bench.tick()
    assert (bench.record.touch, bench.record.touch_source) == (0, ms.BY_NOBODY)


def test_answer_counts_for_one_tick_only():
    bench = waiting()
    bench.acknowledge(7)
    bench.tick(2)
    assert bench.machine.acknowledged == NONE
