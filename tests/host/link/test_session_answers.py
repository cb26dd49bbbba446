"""Answers of a session: refusals, resets, late and damaged ones, blocks and records."""

import struct

import pytest

from emberbed.link.blocks import block_crc, read_payloads, write_payloads
from emberbed.link.events import Damaged, Record, Reply, SessionLost, WrongVersion
from emberbed.link.frames import Frame, encode
from emberbed.link.session import Session
from emberbed_fw import messages
from tests.host.link.fake_device import fw_decode, fw_encode, record_of
from tests.host.link.played_session import Bench
from tests.support.plans import build_plan, cool, hold, ramp


def test_a_refusal_is_a_reply(bench):
    bench.device.refuse[messages.ARM] = bytes([messages.BAD_PLAN, 5])
    (reply,) = bench.send(bench.session.arm(1))
    assert (reply.refusal, reply.data) == (messages.BAD_PLAN, b"\5")


def test_a_refused_renewal_is_told(bench):
    bench.device.session += 1
    (reply,) = bench.send(bench.session.renew(500))
    assert (reply.request_type, reply.refusal) == (messages.RENEW, messages.WRONG_SESSION)


def test_a_reset_while_a_request_is_on_its_way(bench):
    bench.device.reset_at = messages.ACK_PROMPT
    (reply,) = bench.send(bench.session.acknowledge(4))
    assert reply.refusal == messages.WRONG_SESSION
    events = bench.deliver(bench.device.ticks(5))
    assert events == [SessionLost(0)]  # once, and no record of the other life is taken for ours


def test_another_version_is_told_once():
    bench = Bench()
    bench.device.version = 2
    events = bench.send(bench.session.hello()) + bench.deliver(bench.device.ticks(3))
    assert events == [WrongVersion(2)]


def test_one_odd_frame_is_no_proof_of_another_version():
    bench = Bench()
    bench.send(bench.session.hello())
    bench.device.version = 73
    assert bench.deliver(bench.device.ticks(1)) == []
    bench.device.version = 1
    events = bench.deliver(bench.device.ticks(2))  # and the one it missed, sent again
    assert [type(event) for event in events] == [Record] * 3
    bench.device.version = 73
    assert bench.deliver(bench.device.ticks(2)) == [WrongVersion(73)]


def test_a_greeting_that_contradicts_its_frame_is_asked_for_again():
    bench = Bench()
    hello = bench.session.hello()
    frames, _damaged = fw_decode(bench.device.feed(hello))
    (version, kind, session, sequence, tick, payload) = frames[0]
    said = bytearray(payload)
    said[4] = 73  # the greeting's own word for the protocol
    odd = fw_encode(kind, session, sequence, tick, bytes(said), version)
    assert bench.deliver(odd) == [Damaged(1)] and bench.session.greeting is None
    (reply,) = bench.send(hello)  # as the session repeats it
    assert reply.refusal == messages.DONE and bench.session.greeting.protocol == version


def test_a_hello_answered_twice_takes_the_later_session():
    bench = Bench()
    hello = bench.session.hello()
    replies = bench.device.feed(hello)
    bench.device.host_nonce = None  # it was reset in between
    replies += bench.device.feed(hello)
    assert [type(event) for event in bench.deliver(replies)] == [Reply]
    assert bench.session.number == bench.device.session == bench.device.sessions
    (reply,) = bench.send(bench.session.acknowledge(1))
    assert reply.refusal == messages.DONE


def test_a_doubled_hello_reply_does_not_begin_the_records_anew():
    bench = Bench()
    replies = bench.device.feed(bench.session.hello())
    events = bench.deliver(replies + bench.device.ticks(3) + replies + bench.device.ticks(2))
    assert [event.tick for event in events if isinstance(event, Record)] == [1, 2, 3, 4, 5]
    assert [kind for kind, *_ in bench.device.seen] == [messages.HELLO]


def test_a_second_hello_forgets_what_the_first_session_missed(bench):
    bench.device.lost = {501}
    bench.device.deaf = 1
    assert bench.deliver(bench.device.ticks(2)) == []
    bench.device.seen.clear()
    bench.device.refuse[messages.HELLO] = bytes([messages.BUSY])
    assert [event.refusal for event in bench.send(bench.session.hello())] == [messages.BUSY]
    assert bench.wait() == []
    assert [kind for kind, *_ in bench.device.seen] == [messages.HELLO]
    bench.device.refuse.clear()
    bench.device.seen.clear()
    bench.device.deaf = 1
    bench.send(bench.session.hello())
    assert [type(event) for event in bench.wait() + bench.wait()] == [Reply]
    assert [(kind, session) for kind, _, session, _ in bench.device.seen] == [(messages.HELLO, 0)]
    assert [event.tick for event in bench.deliver(bench.device.ticks(1))] == [503]


def test_a_late_answer_under_an_earlier_number_counts(bench):
    bench.device.tells_old = 1
    bench.device.mute = 9
    bench.send(bench.session.acknowledge(4))
    first = bench.device.seen[-1][1]
    old, late, other = [
        fw_encode(messages.REPLY, bench.device.session, 0, 500, struct.pack("<BHB", *answer))
        for answer in (
            (messages.ACK_PROMPT, first, messages.TOO_OLD),
            (messages.ACK_PROMPT, first, messages.DONE),
            (messages.ARM, first, messages.DONE),
        )
    ]
    assert bench.deliver(old) == []
    assert bench.device.seen[-1][1] == first + 1
    assert bench.deliver(other) == []
    assert bench.deliver(late) == [Reply(messages.ACK_PROMPT, first, messages.DONE, b"")]


def test_an_answer_from_an_earlier_program_is_not_ours():
    bench = Bench()
    bench.session.hello()
    old = struct.pack("<BHB", messages.HELLO, 0xFFFE, 0) + bytes(40)
    assert bench.deliver(fw_encode(messages.REPLY, 3, 0, 0, old)) == []
    assert bench.session.greeting is None


def test_damage_is_counted_where_it_happens(bench):
    harmed = bytearray(bench.device.ticks(1))
    harmed[20] ^= 4
    events = bench.deliver(bytes(harmed) + bench.device.ticks(0))
    assert events == [Damaged(1)]
    short = fw_encode(messages.RECORD, bench.device.session, 0, 502, b"\1\2\3")
    stub = fw_encode(messages.REPLY, bench.device.session, 0, 502, b"\1")
    assert bench.deliver(short + b"\0\7\7\0" + stub) == [Damaged(3)]


def test_a_record_whose_commands_are_cut_short_is_damage_too(bench):
    cut = record_of(502) + b"\1\5\0"  # says five bytes of command, has one
    assert bench.deliver(bench.device.ticks(0)) == []
    events = bench.deliver(fw_encode(messages.RECORD, bench.device.session, 0, 501, cut))
    assert events == [Damaged(1)]


def test_a_plan_goes_there_and_back_in_blocks(bench):
    plan = build_plan([ramp(2000, 9000, 900)] + [hold(9000, 600)] * 20 + [cool()])
    assert len(plan) > 3 * messages.BLOCK_CHUNK
    for payload in write_payloads(plan):
        (reply,) = bench.send(bench.session.request(messages.PLAN_WRITE, payload))
        assert reply.refusal == messages.DONE
    halves = struct.unpack("<HH", plan[-4:])
    assert bench.device.done[-1][1] == struct.pack("<HHHH", 0xFFFF, len(plan), *halves)
    assert block_crc(plan) == halves[0] | halves[1] << 16
    back = b""
    for payload, count in read_payloads(len(plan)):
        (reply,) = bench.send(bench.session.request(messages.PLAN_READ, payload))
        assert len(reply.data) == count
        back += reply.data
    assert back == plan


def test_a_block_without_a_crc_is_refused():
    with pytest.raises(ValueError, match="4 bytes of CRC"):
        list(write_payloads(b"\1\2\3\4"))


def test_a_nonce_has_thirty_bits():
    with pytest.raises(ValueError, match="30 bits"):
        Session(1 << 30)


def test_records_are_handed_on_as_they_were(bench):
    events = bench.deliver(bench.device.ticks(3))
    assert events == [Record(record_of(tick), tick, False) for tick in (501, 502, 503)]


def test_records_before_the_session_stay_on_the_device():
    bench = Bench()
    bench.device.session = 77  # another program's
    assert bench.deliver(bench.device.ticks(3)) == []
    assert bench.device.seen == []
    bench.connect()
    assert [event.tick for event in bench.deliver(bench.device.ticks(1))] == [4]


def test_unknown_messages_are_passed_over(bench):
    unknown = encode(Frame(99, bench.device.session, 0, 501, b"\1\2"))
    assert bench.deliver(unknown) == []
