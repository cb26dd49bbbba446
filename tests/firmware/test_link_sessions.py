"""Who is heard on the wire: HELLO and sessions."""

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
