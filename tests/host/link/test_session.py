"""Requests: one answer each, whatever the wire loses, doubles or delays. Time is a number here."""

import struct

import pytest

from emberbed.link.events import Reply, Silent
from emberbed.link.session import ATTEMPTS, Session
from emberbed_fw import messages
from tests.host.link.fake_device import BUILD_ID, fw_decode
from tests.host.link.played_session import ANSWER_S, NONCE, Bench


def test_hello_opens_the_session_the_device_issued():
    bench = Bench(tick=500)
    hello = bench.session.hello()
    (frame,), damaged = fw_decode(hello)
    version, message_type, session, sequence, tick, payload = frame
    assert (version, message_type, session, tick, damaged) == (1, messages.HELLO, 0, 0, 0)
    assert payload == struct.pack("<BI", 1, NONCE)
    (reply,) = bench.send(hello)
    assert (reply.request_type, reply.request_sequence, reply.refusal) == (1, sequence, 0)
    greeting = bench.session.greeting
    assert greeting is not None
    assert (greeting.session, greeting.newest_tick) == (bench.device.session, 500)
    assert (greeting.firmware, greeting.build_id) == ("0.1.0", BUILD_ID)
    bench.send(bench.session.acknowledge(3))
    assert bench.device.seen[-1] == (
        messages.ACK_PROMPT, sequence + 1, bench.device.session, 500,
    )  # fmt: skip


def test_sequence_numbers_rise_by_one_and_wrap():
    bench = Bench()
    bench.session = Session(NONCE, first_sequence=0xFFFD, answer_s=ANSWER_S)
    bench.connect()
    for prompt in range(4):
        bench.send(bench.session.acknowledge(prompt))
    assert [seen[1] for seen in bench.device.seen] == [0xFFFE, 0xFFFF, 0, 1, 2]


def test_requests_carry_the_newest_tick(bench):
    bench.deliver(bench.device.ticks(7))
    bench.send(bench.session.renew(505))
    assert bench.device.seen[-1][3] == 507
    assert bench.device.renewed == [505]


def test_requests_are_built_as_the_table_of_messages_says(bench):
    bench.send(bench.session.arm(0x89ABCDEF, messages.ATTEND_PANEL))
    bench.send(bench.session.arm(1, messages.ATTEND_HOST, stage=3, done_ticks=70_000))
    bench.send(bench.session.stop(messages.STOP_SMOKE))
    bench.send(bench.session.acknowledge(9, messages.BY_PAGE))
    bench.send(bench.session.touch(messages.OFFSET, -300, messages.BY_SCRIPT))
    bench.send(bench.session.backfill(77))
    assert bench.device.done[1:] == [
        (messages.ARM, struct.pack("<HHBBI", 0xCDEF, 0x89AB, 2, 255, 0)),  # NONE: a new run
        (messages.ARM, struct.pack("<HHBBI", 1, 0, 1, 3, 70_000)),
        (messages.STOP, b"\2"),
        (messages.ACK_PROMPT, b"\x09\x03"),
        (messages.STAGE_REQUEST, struct.pack("<BhB", 6, -300, 4)),
        (messages.BACKFILL, struct.pack("<I", 77)),
    ]


def test_a_lost_request_is_sent_again_under_its_number(bench):
    bench.device.deaf = 1
    assert bench.send(bench.session.acknowledge(4)) == []
    assert bench.wait(ANSWER_S * 0.9) == []
    events = bench.wait(ANSWER_S * 0.2)
    assert [type(event) for event in events] == [Reply]
    assert bench.device.done[1:] == [(messages.ACK_PROMPT, b"\4\2")]


def test_a_lost_reply_is_given_again_and_the_request_done_once(bench):
    bench.device.mute = 2
    assert bench.send(bench.session.acknowledge(4)) == []
    assert bench.wait() == []
    (reply,) = bench.wait()
    assert (reply.request_type, reply.refusal) == (messages.ACK_PROMPT, messages.DONE)
    assert bench.device.done[1:] == [(messages.ACK_PROMPT, b"\4\2")]
    sequences = [sequence for kind, sequence, *_ in bench.device.seen if kind == 9]
    assert sequences == [reply.request_sequence] * 3


def test_a_doubled_reply_is_one_reply(bench):
    bench.device.doubles = True
    assert len(bench.send(bench.session.acknowledge(4))) == 1
    assert len(bench.send(bench.session.acknowledge(5))) == 1


@pytest.mark.parametrize("lost", ["deaf", "mute"])
def test_renewals_and_stops_take_no_number_from_the_requests(bench, lost):
    # a number between a request and its repeat would make the device forget its answer
    (before,) = bench.send(bench.session.acknowledge(1))
    for _ in range(5):
        bench.send(bench.session.renew(500))
        bench.send(bench.session.stop())
    setattr(bench.device, lost, 1)
    assert bench.send(bench.session.acknowledge(4)) == []
    bench.send(bench.session.renew(500))
    (reply,) = bench.wait() + bench.wait()
    assert reply.refusal == messages.DONE
    assert reply.request_sequence == before.request_sequence + 1
    assert bench.device.done.count((messages.ACK_PROMPT, b"\4\2")) == 1


def test_an_old_request_is_numbered_anew_until_it_is_young_enough(bench):
    bench.device.tells_old = ATTEMPTS - 1
    (reply,) = bench.send(bench.session.acknowledge(1))
    assert reply.refusal == messages.DONE
    assert [sequence for _, sequence, *_ in bench.device.seen[1:]] == list(
        range(reply.request_sequence - ATTEMPTS + 1, reply.request_sequence + 1)
    )
    bench.device.tells_old = ATTEMPTS
    (reply,) = bench.send(bench.session.acknowledge(2))
    assert reply.refusal == messages.TOO_OLD


def test_a_silent_device_is_asked_so_often_and_no_more(bench):
    bench.device.silent = True
    bench.send(bench.session.acknowledge(4))
    events = []
    for _ in range(ATTEMPTS):
        assert events == []
        events = bench.wait()
    assert [(type(event), event.request_type) for event in events] == [(Silent, 9)]
    sent = [sequence for kind, sequence, *_ in bench.device.seen if kind == 9]
    assert sent == [events[0].request_sequence] * ATTEMPTS
    assert bench.wait(100) == []
    assert len(bench.device.seen) == 1 + ATTEMPTS
    bench.device.silent = False
    assert len(bench.send(bench.session.acknowledge(4))) == 1


def test_stop_does_not_wait_for_another_request(bench):
    bench.device.mute = 1
    bench.send(bench.session.acknowledge(4))
    (reply,) = bench.send(bench.session.stop())
    assert reply.request_type == messages.STOP
    events = bench.wait() + bench.wait()
    assert [event.request_type for event in events] == [messages.ACK_PROMPT]


def test_stop_is_sent_before_any_session_too():
    bench = Bench()
    (reply,) = bench.send(bench.session.stop())
    assert (reply.request_type, reply.refusal) == (messages.STOP, messages.DONE)


def test_two_requests_at_once_are_a_mistake_of_the_caller(bench):
    bench.session.acknowledge(1)
    with pytest.raises(AssertionError):
        bench.session.arm(1)
