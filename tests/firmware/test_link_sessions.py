"""Who is heard on the wire: sessions, sequence numbers, age, STOP."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.portrait import FIRMWARE_VERSION
from emberbed_fw.recorder import RING_BYTES, RUN_BYTES
from emberbed_fw.safety_limits import LEASE_TICKS
from tests.support.bench import arm_payload
from tests.support.wire import (
    BUILD_ID,
    DAMAGED,
    HOST_NONCE,
    Wire,
    connected,
)

# HELLO and sessions


def test_hello_says_who_answers():
    wire = Wire()
    wire.tick(5)
    refusal, data = wire.hello()
    said = struct.unpack(ms.HELLO_REPLY, data)
    assert refusal == "DONE"
    assert said == (
        1, wire.session, rs.IDLE, rs.NO_VERDICT, 5, *FIRMWARE_VERSION, BUILD_ID,
        ms.ENTRY_HEATS, bytes(8), 0, 0, 0, 0, RING_BYTES, RUN_BYTES, 0, 0,
    )  # fmt: skip
    assert 0 < wire.session < 2**30


def test_hello_names_the_run_by_its_arming():
    """By these a host that was started again knows its run: session, tick and plan of the ARM."""
    wire = connected()
    wire.write_plan(wire.bench.plan)
    assert wire.ask(ms.ARM, arm_payload(wire.bench.plan))[0] == "DONE"
    armed_in, armed_at = wire.session, wire.machine.tick
    wire.tick(LEASE_TICKS + 1)  # its host is gone
    said = struct.unpack(ms.HELLO_REPLY, wire.hello(nonce=99)[1])
    assert wire.session != armed_in
    session, tick, crc_low, crc_high = said[-8:-4]
    assert session == armed_in
    assert struct.pack("<HH", crc_low, crc_high) == wire.bench.plan[-4:]
    assert tick == armed_at


def test_run_armed_at_the_device_belongs_to_no_host():
    wire = connected()
    wire.write_plan(wire.bench.plan)
    assert wire.link.put_own(ms.ARM, arm_payload(wire.bench.plan, ms.ATTEND_PANEL))
    wire.tick(2)
    assert wire.machine.life.state == rs.COLD_PROOF
    said = struct.unpack(ms.HELLO_REPLY, wire.hello()[1])
    assert said[-8] == 0 and said[-7] == wire.machine.tick - 1


def test_no_record_is_sent_before_a_host_is_there():
    wire = Wire()
    wire.tick(20)
    assert wire.heard == [] and wire.link.flow_owed() == 0
    wire.hello()
    wire.tick(3)
    assert wire.records() == [21, 22, 23] and wire.link.flow_owed() == 3


def test_same_host_keeps_its_session():
    wire = connected()
    first = wire.session
    wire.tick(4)
    assert wire.hello()[0] == "DONE"
    assert wire.session == first and wire.link.flow_owed() == 4


def test_other_host_gets_a_session_of_its_own_when_the_link_is_free():
    wire = connected()
    first = wire.session
    assert wire.hello(nonce=99)[0] == "DONE"
    assert wire.session != first
    assert wire.ask(ms.PLAN_READ, struct.pack("<HB", 0, 10), session=first)[0] == "WRONG_SESSION"


@pytest.mark.parametrize("bit", range(30))
def test_hosts_that_differ_in_one_bit_are_two_hosts(bit):
    wire = connected()
    first = wire.session
    assert wire.hello(nonce=HOST_NONCE ^ 1 << bit)[0] == "DONE"
    assert wire.session != first


def test_frames_of_the_device_are_numbered_one_by_one():
    wire = connected()
    wire.tick(5)
    wire.ask(ms.PLAN_READ, b"\0\0\1")
    numbers = [frame.sequence for frame in wire.heard]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))


def test_host_with_the_number_nought_is_a_host_too():
    wire = Wire()
    assert wire.hello(nonce=0)[0] == "DONE"
    assert wire.session != 0
    assert wire.ask(ms.PLAN_READ, struct.pack("<HB", 0, 10))[0] == "DONE"


def test_second_host_is_refused_while_the_first_answers_for_the_heat():
    wire = connected()
    wire.renew()
    wire.tick()
    assert wire.hello(nonce=99) == ("BUSY", b"")
    assert wire.hello(nonce=HOST_NONCE)[0] == "DONE", "the first host may come back"
    wire.tick(LEASE_TICKS)
    assert wire.hello(nonce=99)[0] == "DONE"


def test_sessions_differ_after_each_reset():
    sessions = set()
    for nonce in range(1, 40):
        wire = Wire(nonce=nonce * 7919)
        wire.hello()
        sessions.add(wire.session)
    assert len(sessions) == 39


@pytest.mark.parametrize("payload", [b"", b"\1\1\1", struct.pack("<BIB", 1, 5, 0)])
def test_hello_of_a_wrong_length_is_refused(payload):
    assert Wire().ask(ms.HELLO, payload) == ("BAD_LENGTH", b"")


def test_other_protocol_is_refused_in_hello_and_in_any_frame():
    wire = Wire()
    assert wire.ask(ms.HELLO, struct.pack("<BI", 2, 5)) == ("WRONG_VERSION", b"")
    assert wire.ask(ms.HELLO, struct.pack("<BI", 1, 5), version=2) == ("WRONG_VERSION", b"")
    assert wire.session == 0


@pytest.mark.parametrize("session", [0, 12345])
def test_request_outside_a_session_is_refused(session):
    wire = Wire()
    assert wire.ask(ms.PLAN_READ, b"\0\0\1", session=session) == ("WRONG_SESSION", b"")
    wire.hello()
    assert wire.ask(ms.PLAN_READ, b"\0\0\1", session=session) == ("WRONG_SESSION", b"")


# Sequence and age


def test_same_request_twice_gives_the_same_answer_and_is_done_once():
    wire = connected()
    plan = wire.bench.plan
    first_part = struct.pack("<H", 0) + plan[:100]
    frame = wire.frame(ms.PLAN_WRITE, first_part)
    wire.feed(frame)
    wire.feed(frame)
    first, second = wire.heard[-2:]
    assert first == second and first.message_type == ms.REPLY
    # had it been done again, the second part would be missing now
    assert wire.ask(ms.PLAN_WRITE, struct.pack("<H", 100) + plan[100:200])[0] == "DONE"
    wire.feed(frame)
    assert wire.ask(ms.PLAN_WRITE, struct.pack("<H", 200) + plan[200:300])[0] == "DONE"


def test_tick_request_twice_is_carried_out_once():
    wire = connected()
    wire.write_plan(wire.bench.plan)
    frame = wire.frame(ms.ARM, arm_payload(wire.bench.plan))
    wire.feed(frame)
    wire.feed(frame)
    assert wire.machine.commands.count == 1
    wire.tick()
    answered = [one for one in wire.heard if one.message_type == ms.REPLY][-1]
    wire.feed(frame)
    assert wire.heard[-1] == answered
    assert wire.machine.commands.count == 0 and wire.machine.life.state == rs.COLD_PROOF


@pytest.mark.parametrize("ahead", [1, 2, ms.SEQUENCE_WINDOW])
def test_newer_sequence_is_taken(ahead):
    wire = connected()
    sequence = (wire.sequence + ahead) & 0xFFFF
    assert wire.ask(ms.PLAN_READ, b"\0\0\1", sequence=sequence)[0] == "DONE"


@pytest.mark.parametrize("ahead", [-1, -100, ms.SEQUENCE_WINDOW + 1])
def test_older_sequence_is_dropped(ahead):
    wire = connected()
    wire.ask(ms.PLAN_READ, b"\0\0\1")
    sequence = (wire.sequence + ahead) & 0xFFFF
    assert wire.ask(ms.STAGE_REQUEST, b"", sequence=sequence) is None


def test_sequence_goes_round():
    wire = connected()
    for _ in range(5):
        wire.sequence = (wire.sequence + 0x6000) & 0xFFFF
        assert wire.ask(ms.PLAN_READ, b"\0\0\1")[0] == "DONE"


@pytest.mark.parametrize(("age", "answer"), [(100, "DONE"), (101, "TOO_OLD")])
def test_request_out_of_an_old_buffer_is_refused(age, answer):
    wire = connected()
    wire.tick(200)
    tick = wire.machine.tick - age
    assert wire.ask(ms.PLAN_READ, b"\0\0\1", tick=tick)[0] == answer


def test_replayed_arming_of_the_run_before_does_nothing():
    # the classic: a start left in a buffer, whole, valid, only old
    wire = connected()
    wire.write_plan(wire.bench.plan)
    frame = wire.frame(ms.ARM, arm_payload(wire.bench.plan))
    wire.feed(frame)
    wire.tick(30)  # nobody renews: the arming is gone again
    assert wire.machine.life.state == rs.LOADED
    wire.ask(ms.PLAN_READ, b"\0\0\1")
    wire.feed(frame)
    wire.tick(2)
    assert wire.machine.life.state == rs.LOADED
    fresh = Wire()
    fresh.hello()
    fresh.feed(frame)
    fresh.tick(2)
    assert fresh.machine.life.state == rs.IDLE


# STOP


@pytest.mark.parametrize(
    "header",
    [
        {}, {"session": 0}, {"session": 999}, {"sequence": 0}, {"sequence": 54321}, {"tick": 0},
        {"version": 9}, {"session": 7, "sequence": 3, "tick": 2**31, "version": 0},
    ],
    ids=str,
)  # fmt: skip
def test_stop_is_heard_from_anybody_in_any_order(header):
    wire = Wire().to_run()
    wire.tick(200)
    assert wire.ask(ms.STOP, bytes([ms.STOP_BY_PERSON]), **header) == ("DONE", b"")
    assert wire.machine.life.state == rs.COOL and wire.machine.driven_zones == 0


def test_stop_is_heard_in_a_flood():
    wire = Wire().to_run()
    for _ in range(200):
        wire.renew()
    wire.feed(wire.frame(ms.STOP, bytes([ms.STOP_SMOKE]), session=0))
    wire.tick()
    assert wire.machine.life.state == rs.COOL


def test_stop_is_heard_over_a_bad_link():
    wire = Wire().to_run()
    wire.feed(DAMAGED * 30)
    wire.tick()
    assert wire.link_is_bad()
    wire.feed(wire.frame(ms.STOP, b"\1"))
    wire.tick()
    assert wire.machine.life.state == rs.COOL
    assert wire.machine.life.verdict == rs.STOPPED


@pytest.mark.parametrize("payload", [b"", b"\1\1"])
def test_stop_of_any_size_is_a_stop(payload):
    wire = Wire().to_run()
    assert wire.ask(ms.STOP, payload) == ("DONE", b"")
    assert wire.machine.life.state == rs.COOL and not wire.machine.driven_zones


def test_old_hello_does_not_let_old_requests_in_again():
    """A HELLO and an ARM kept in some buffer: the ARM must not be taken a second time."""
    wire = connected()
    wire.write_plan(wire.bench.plan)
    kept = wire.frame(ms.ARM, arm_payload(wire.bench.plan))
    hello = wire.frame(ms.HELLO, struct.pack("<BI", 1, HOST_NONCE), sequence=1)
    wire.feed(kept)
    wire.tick(2)
    assert wire.machine.life.state == rs.COLD_PROOF
    wire.ask(ms.STOP, b"\1")
    wire.tick(50)
    wire.write_plan(wire.bench.plan)
    assert wire.machine.life.state == rs.LOADED
    wire.feed(hello)
    wire.feed(kept)
    wire.tick(2)
    assert wire.machine.life.state == rs.LOADED


def test_request_that_found_no_room_may_be_sent_again():
    wire = connected()
    wire.write_plan(wire.bench.plan)
    for _ in range(20):
        wire.feed(wire.frame(ms.RENEW, struct.pack("<I", wire.machine.tick), sequence=0))
    arm = wire.frame(ms.ARM, arm_payload(wire.bench.plan))
    wire.feed(arm)
    wire.tick()
    assert wire.machine.life.state == rs.LOADED
    wire.feed(arm)
    wire.tick()
    assert wire.machine.life.state == rs.COLD_PROOF
