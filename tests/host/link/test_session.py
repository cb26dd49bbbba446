"""Requests: one answer each, whatever the wire loses, doubles or delays. Time is a number here."""

import struct

import pytest

from emberbed.link.blocks import block_crc, read_payloads, write_payloads
from emberbed.link.events import Damaged, Record, Reply, SessionLost, Silent, WrongVersion
from emberbed.link.frames import Frame, encode
from emberbed.link.session import ATTEMPTS, Session
from emberbed_fw import messages
from tests.host.link.fake_device import BUILD_ID, FakeDevice, fw_decode, fw_encode, record_of
from tests.support.plans import build_plan, cool, hold, ramp

NONCE = 0x1234567
ANSWER_S = 1.0


class Bench:
    """A session and a device joined by a perfect wire; what is lost, the device loses on demand."""

    def __init__(self, tick=0, **options):
        self.device = FakeDevice(tick)
        self.session = Session(NONCE, answer_s=ANSWER_S, **options)
        self.now_s = 0.0

    def connect(self):
        self.send(self.session.hello())
        return self

    def send(self, outgoing):
        """Carry bytes to the device and all that follows to and fro; return the events."""
        return self.deliver(self.device.feed(outgoing))

    def deliver(self, incoming):
        events = self.session.receive(incoming, self.now_s)
        outgoing = self.session.take_outgoing()
        while outgoing:
            events += self.session.receive(self.device.feed(outgoing), self.now_s)
            outgoing = self.session.take_outgoing()
        return events

    def wait(self, seconds=ANSWER_S):
        """Let time pass and whatever is due happen."""
        self.now_s += seconds
        return self.deliver(b"")


@pytest.fixture
def bench():
    return Bench(tick=500).connect()


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
