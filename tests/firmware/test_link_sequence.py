"""What is heard on the wire: sequence numbers, age, STOP."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from tests.support.bench import arm_payload
from tests.support.wire import (
    DAMAGED,
    HOST_NONCE,
    Wire,
    connected,
)

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
