"""The device's end of the wire frame by frame: numbers, sessions, answers, what is left out."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw.link import OUT_BYTES, Link
from emberbed_fw.portrait import NAMELESS
from emberbed_fw.recorder import Recorder
from tests.support.bench import Bench, arm_payload
from tests.support.wire import BUILD_ID, Wire, connected, replies, tell

READ = struct.pack("<HB", 0, 10)


def of_kind(wire, kind):
    return [frame for frame in wire.heard if frame.message_type == kind]


# Sessions are numbered x -> (1103 x + 12345) mod (2**26 - 1) + 1, from what the port drew.


@pytest.mark.parametrize("drawn", [0, 1, 60842, 67108862, 2**29])
def test_sessions_are_numbered_from_what_the_port_drew(drawn):
    wire = Wire(nonce=drawn)
    wire.hello()
    first = (drawn * 1103 + 12345) % 67108863 + 1
    assert wire.session == first
    wire.hello(nonce=99)
    assert wire.session == (first * 1103 + 12345) % 67108863 + 1


@pytest.mark.parametrize("nonce", [0, 1, 2])
def test_no_host_is_known_before_the_first(nonce):
    wire = Wire()
    assert wire.hello(nonce=nonce)[0] == "DONE" and wire.session == 13449


def test_link_begins_silent():
    wire = Wire()
    assert wire.link.out_filled == 0
    wire.tick(3)
    wire.link.send_wanted_again()
    assert wire.link.out_filled == 0 and wire.heard == []
    assert len(wire.link.out) == OUT_BYTES


def test_portrait_has_what_the_port_told():
    machine = Bench().machine
    identity = (ms.ENTRY_INJECTED, b"\1\2\3\4\5\6\7\10")
    link = Link(machine, Recorder(), 1, BUILD_ID, identity, 5)
    wire = Wire()
    wire.link, wire.machine = link, machine
    said = struct.unpack(ms.HELLO_REPLY, wire.hello()[1])
    assert (said[8], said[9], said[10], said[-1]) == (BUILD_ID, *identity, 5)
    plain = struct.unpack(ms.HELLO_REPLY, Wire().hello()[1])
    assert (plain[9], plain[10]) == NAMELESS and plain[-1] == 0


def test_frame_of_the_device_says_who_what_and_when():
    wire = Wire()
    wire.tick(7)
    wire.hello()
    hello = wire.heard[0]
    assert (hello.message_type, hello.session, hello.sequence, hello.tick) == (
        ms.REPLY, wire.session, 1, 7,
    )  # fmt: skip
    assert hello.payload[:4] == struct.pack("<BHB", ms.HELLO, 1, ms.DONE)
    wire.tick()
    assert [(one.message_type, one.sequence, one.tick) for one in wire.heard[1:]] == [
        (ms.RECORD, 2, 8)
    ]


def test_frames_are_numbered_round_after_65535():
    wire = connected()
    wire.link._sequence_out = 0xFFFE
    wire.tick(3)
    assert [frame.sequence for frame in wire.heard[-3:]] == [0xFFFF, 0, 1]


def test_record_is_sent_with_its_commands():
    wire = connected()
    wire.renew()
    wire.tick()
    record = of_kind(wire, ms.RECORD)[-1].payload
    tick = wire.machine.tick
    assert record == bytes(wire.recorder.slot(tick)[: wire.recorder.length(tick)])
    assert record[-6:] == struct.pack("<BBI", ms.RENEW, 4, tick - 1)


def test_first_frame_of_all_may_have_the_number_nought():
    wire = Wire()
    assert tell(wire, ms.PLAN_READ, READ, sequence=0) == [(ms.PLAN_READ, 0, ms.WRONG_SESSION, b"")]


# HELLO


@pytest.mark.parametrize("payload", [bytes(4), bytes(6), b""])
def test_hello_has_five_bytes(payload):
    wire = Wire()
    assert tell(wire, ms.HELLO, payload) == [(ms.HELLO, 1, ms.BAD_LENGTH, b"")]
    assert wire.session == 0


def test_hello_of_the_same_host_goes_back_to_nothing_and_keeps_the_session():
    """Its next number counts on from this one; what it was still sent again is forgotten."""
    wire = connected()
    wire.tick(200)
    first = wire.session
    wire.ask(ms.BACKFILL, struct.pack("<I", 1))
    wire.hello()
    assert wire.session == first
    before = len(of_kind(wire, ms.BACKFILL_BLOCK))
    wire.tick(5)
    assert len(of_kind(wire, ms.BACKFILL_BLOCK)) == before


@pytest.mark.parametrize(
    ("sequence", "same"),
    [(101, True), (100 + ms.SEQUENCE_WINDOW, True), (101 + ms.SEQUENCE_WINDOW, False),
     (100, True), (99, False), (1, False)],
)  # fmt: skip
def test_hello_with_an_old_number_begins_a_session(sequence, same):
    wire = connected()
    assert wire.ask(ms.PLAN_READ, READ, sequence=100)
    first = wire.session
    wire.hello(sequence=sequence)
    assert (wire.session == first) is same


def test_another_host_takes_a_free_link_and_owes_nothing_of_before():
    wire = connected()
    wire.tick(5)
    assert wire.link.flow_owed() == 5
    wire.hello(nonce=99)
    assert wire.link.flow_owed() == 0
    wire.tick()
    assert wire.link.flow_owed() == 1


# Answers


def test_request_before_its_answer_is_there_is_not_answered_twice():
    wire = connected()
    wire.write_plan(wire.bench.plan)
    frame = wire.frame(ms.ARM, arm_payload(wire.bench.plan))
    before = len(wire.heard)
    for _ in range(3):
        wire.feed(frame)
    assert len(wire.heard) == before, "not the answer of the request before either"
    wire.link.receive(frame, len(frame))
    assert wire.link.out_filled == 0, "not even a byte"
    wire.tick()
    assert [one[0] for one in replies(wire)][-1] == ms.ARM


def test_same_number_of_another_kind_is_no_repetition():
    wire = connected()
    assert wire.ask(ms.PLAN_READ, READ) == ("DONE", b"")
    assert tell(wire, ms.SETTINGS_READ, READ, sequence=wire.sequence) == []


def test_answer_given_again_is_the_same_bytes():
    wire = connected()
    frame = wire.frame(ms.SETTINGS_READ, READ)
    wire.feed(frame)
    wire.tick(20)
    before = len(wire.heard)
    wire.feed(frame)
    assert wire.heard[before:] == [of_kind(wire, ms.REPLY)[-1]]
    assert of_kind(wire, ms.REPLY)[-1] == of_kind(wire, ms.REPLY)[-2]


def test_after_hello_its_number_is_used_up():
    wire = connected()
    assert wire.ask(ms.SETTINGS_READ, READ)
    wire.hello()
    assert tell(wire, ms.SETTINGS_READ, READ, sequence=wire.sequence) == []


@pytest.mark.parametrize("sequence", [4000, 2])
def test_answer_to_a_stop_is_not_given_to_another_request(sequence):
    """A STOP is outside the order: the request before it is repeated with its own answer."""
    wire = connected()
    assert wire.sequence == 1
    frame = wire.frame(ms.SETTINGS_READ, READ)
    wire.feed(frame)
    own = of_kind(wire, ms.REPLY)[-1]
    wire.ask(ms.STOP, b"\1", sequence=sequence)
    wire.feed(frame)
    assert wire.heard[-1] == own


@pytest.mark.parametrize("sequence", [0, 1, 0xFFFF])
def test_busy_request_may_be_sent_again_with_its_number(sequence):
    wire = connected()
    wire.link._last_request = (sequence - 1) & 0xFFFF
    for _ in range(20):
        wire.renew()
    payload = arm_payload(wire.bench.plan)
    frame = wire.frame(ms.ARM, payload, sequence=sequence)
    for _ in range(2):
        before = len(replies(wire))
        wire.feed(frame)
        assert replies(wire)[before:] == [(ms.ARM, sequence, ms.BUSY, b"")]
    assert tell(wire, ms.PLAN_READ, READ, sequence=(sequence - 1) & 0xFFFF) == []
    wire.tick()
    assert wire.ask(ms.ARM, payload, sequence=sequence) == ("WRONG_STATE", b"")
    assert tell(wire, ms.PLAN_READ, READ, sequence=(sequence - 1) & 0xFFFF) == []


def test_tick_commands_are_answered_each_with_its_own_number():
    wire = connected()
    before = len(replies(wire))
    for sequence, kind, payload in (
        (50, ms.ACK_PROMPT, b"\1\2"), (51, ms.STAGE_REQUEST, bytes(4)), (52, ms.STOP, b"\1"),
    ):  # fmt: skip
        wire.feed(wire.frame(kind, payload, sequence=sequence))
        wire.renew()
    wire.tick()
    assert replies(wire)[before:] == [
        (ms.ACK_PROMPT, 50, ms.WRONG_STATE, b""), (ms.STAGE_REQUEST, 51, ms.BAD_RANGE, b""),
        (ms.STOP, 52, ms.DONE, b""),
    ]  # fmt: skip
    wire.tick()
    assert len(replies(wire)) == before + 3


def test_bad_plan_is_answered_with_its_fault_and_no_more():
    wire = connected()
    end = struct.pack("<HHHH", ms.END_OF_BLOCK, 500, 0, 0)
    (answer,) = tell(wire, ms.PLAN_WRITE, end)
    assert answer[:3] == (ms.PLAN_WRITE, wire.sequence, ms.BAD_PLAN) and len(answer[3]) == 1


@pytest.mark.parametrize(("age", "refusal"), [(100, ms.DONE), (101, ms.TOO_OLD)])
def test_request_of_an_old_buffer_is_answered_once_and_again(age, refusal):
    wire = connected()
    wire.tick(150)
    frame = wire.frame(ms.PLAN_READ, READ, tick=wire.machine.tick - age)
    for _ in range(2):
        before = len(replies(wire))
        wire.feed(frame)
        assert [one[2] for one in replies(wire)[before:]] == [refusal]
