"""What is asked on the wire: plans, settings, changes."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import MOST_OFFSET_CDEG
from emberbed_fw.trip_codes import SENSOR_LIFTED, TRIP_CODES
from tests.support.bench import arm_payload
from tests.support.plans import bench_settings, build_plan, cool, hold, patch_plan, wait
from tests.support.wire import (
    Wire,
    connected,
    end_of_plan,
)

# Plans and settings


def test_plan_is_read_back_as_written():
    wire = connected()
    plan = wire.bench.plan
    assert wire.write_plan(plan) == ("DONE", b"")
    assert wire.machine.life.state == rs.LOADED
    assert wire.read_plan(len(plan)) == plan
    assert wire.ask(ms.PLAN_READ, struct.pack("<HB", len(plan), 50)) == ("DONE", b"")


@pytest.mark.parametrize("chunk", [1, 7, 100, 191, 222])
def test_plan_may_come_in_any_parts(chunk):
    wire = connected()
    plan = build_plan([hold(6000, 10), cool()])
    assert wire.write_plan(plan, chunk) == ("DONE", b"")
    assert wire.read_plan(len(plan), 33) == plan


def test_largest_plan_goes_over_the_wire():
    wire = connected()
    stages = [wait(5000)] * 62
    stages.append(dict(kind=layout.RAMP, target_cdeg=5000, knots=[(n, 5000) for n in range(450)]))
    plan = build_plan([*stages, cool()])
    assert len(plan) == layout.MAX_PLAN_BYTES
    assert wire.write_plan(plan) == ("DONE", b"")
    assert wire.read_plan(len(plan)) == plan


def test_shorter_plan_may_follow_a_longer_one():
    wire = connected()
    short = build_plan([hold(6000, 10), cool()])
    assert len(short) < len(wire.bench.plan)
    for plan in (wire.bench.plan, short, wire.bench.plan):
        assert wire.write_plan(plan) == ("DONE", b"")
        assert wire.read_plan(len(plan)) == plan


def test_part_at_the_beginning_starts_anew():
    wire = connected()
    plan = wire.bench.plan
    for at in (0, 100):
        wire.ask(ms.PLAN_WRITE, struct.pack("<H", at) + plan[at : at + 100])
    wire.ask(ms.PLAN_WRITE, struct.pack("<H", 0) + plan[:100])
    beyond = struct.pack("<H", 200) + plan[200:300]
    assert wire.ask(ms.PLAN_WRITE, beyond) == ("BAD_LENGTH", b"")


def test_bad_plan_is_refused_with_its_fault():
    wire = connected()
    plan = patch_plan(wire.bench.plan, kp0_q8=layout.MAX_KP_Q8 + 1)
    assert wire.write_plan(plan) == ("BAD_PLAN", bytes([layout.PLAN_GAIN]))
    assert wire.machine.life.state == rs.IDLE and wire.machine.plan is None


def test_plan_with_a_hole_is_refused():
    wire = connected()
    plan = wire.bench.plan
    wire.ask(ms.PLAN_WRITE, struct.pack("<H", 0) + plan[:100])
    beyond = struct.pack("<H", 150) + plan[150:250]
    assert wire.ask(ms.PLAN_WRITE, beyond) == ("BAD_LENGTH", b"")
    assert wire.ask(ms.PLAN_WRITE, end_of_plan(plan)) == ("BAD_PLAN", bytes([layout.PLAN_LENGTH]))


@pytest.mark.parametrize("payload", [b"", b"\0", b"\0\0", b"\xff\xff", b"\xff\xff\0\0\0"])
def test_malformed_plan_part_is_refused(payload):
    assert connected().ask(ms.PLAN_WRITE, payload) == ("BAD_LENGTH", b"")


def test_part_beyond_the_largest_plan_is_refused():
    wire = connected()
    full = b"\xaa" * 192
    at = 0
    while at + 192 <= layout.MAX_PLAN_BYTES:
        assert wire.ask(ms.PLAN_WRITE, struct.pack("<H", at) + full)[0] == "DONE"
        at += 192
    assert wire.ask(ms.PLAN_WRITE, struct.pack("<H", at) + full) == ("BAD_LENGTH", b"")


def test_end_that_names_another_crc_is_refused():
    wire = connected()
    plan = wire.bench.plan
    wire.write_plan(plan)
    other = end_of_plan(plan)[:-1] + bytes([plan[-1] ^ 1])
    assert wire.ask(ms.PLAN_WRITE, other) == ("BAD_CRC", b"")


@pytest.mark.parametrize("state", [rs.COLD_PROOF, rs.RUN, rs.COOL, rs.TRIPPED])
def test_plan_is_not_taken_in_a_run(state):
    wire = connected()
    wire.machine.life.state = state
    part = struct.pack("<H", 0) + wire.bench.plan[:50]
    assert wire.ask(ms.PLAN_WRITE, part) == ("WRONG_STATE", b"")


def test_settings_are_read_back_whole():
    wire = connected()
    block = bench_settings()
    octets = b""
    while len(octets) < len(block):
        octets += wire.ask(ms.SETTINGS_READ, struct.pack("<HB", len(octets), 192))[1]
    assert octets == block


def test_settings_are_not_written_once_a_plan_is_loaded():
    wire = connected()
    assert wire.ask(ms.SETTINGS_WRITE, b"\0\0\1") == ("DONE", b"")
    wire.write_plan(wire.bench.plan)
    assert wire.ask(ms.SETTINGS_WRITE, b"\0\0\1") == ("WRONG_STATE", b"")


@pytest.mark.parametrize("payload", [b"", b"\0\0", b"\0\0\1\1"])
@pytest.mark.parametrize("kind", [ms.PLAN_READ, ms.SETTINGS_READ])
def test_malformed_read_is_refused(kind, payload):
    assert connected().ask(kind, payload) == ("BAD_LENGTH", b"")


@pytest.mark.parametrize("kind", [0, 15, 64, ms.REPLY, ms.RECORD, 255])
def test_everything_else_is_not_offered(kind):
    assert connected().ask(kind, b"\1\2\3") == ("NOT_OFFERED", b"")


@pytest.mark.parametrize("length", [0, 5, 20])
@pytest.mark.parametrize("kind", [ms.ARM, ms.ACK_PROMPT, ms.STAGE_REQUEST, ms.SERVICE])
def test_tick_request_of_a_wrong_length_is_refused(kind, length):
    assert connected().ask(kind, bytes(length)) == ("BAD_LENGTH", b"")


def test_arming_is_answered_with_the_trips_of_the_session():
    wire = connected()
    wire.write_plan(wire.bench.plan)
    wire.machine.life.trip_counts[SENSOR_LIFTED] = 2
    refusal, counts = wire.ask(ms.ARM, arm_payload(wire.bench.plan))
    assert refusal == "DONE" and len(counts) == TRIP_CODES
    assert list(counts) == [2 if code == SENSOR_LIFTED else 0 for code in range(TRIP_CODES)]
    # a refused one is answered with its code alone
    assert wire.ask(ms.ARM, arm_payload(wire.bench.plan)) == ("WRONG_STATE", b"")


def test_change_to_the_run_is_asked_for_and_answered_over_the_wire():
    wire = Wire().to_run()
    hold_here = struct.pack("<BhB", ms.HOLD_HERE, 0, ms.BY_PAGE)
    assert wire.ask(ms.STAGE_REQUEST, hold_here) == ("DONE", b"")
    assert wire.machine.sequencer.held == 1
    too_much = struct.pack("<BhB", ms.OFFSET, MOST_OFFSET_CDEG + 1, ms.BY_PAGE)
    assert wire.ask(ms.STAGE_REQUEST, too_much) == ("BAD_RANGE", b"")


def test_full_queue_is_busy_and_the_next_tick_takes_it():
    wire = connected()
    for _ in range(40):
        wire.renew()
    assert wire.ask(ms.ARM, arm_payload(wire.bench.plan)) == ("BUSY", b"")
    wire.tick()
    assert wire.ask(ms.ARM, arm_payload(wire.bench.plan)) == ("WRONG_STATE", b"")
