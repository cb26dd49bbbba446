"""Every record once and in order, whatever is lost; what cannot be had again is named."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.link.events import Gap, Record, Reply, Silent
from emberbed.link.session import Session
from emberbed_fw import messages
from tests.host.link.fake_device import record_of
from tests.host.link.test_session import ANSWER_S, NONCE, Bench


@pytest.fixture
def bench():
    return Bench(tick=500).connect()


def told(events):
    """Return records as ticks and gaps as pairs; check that a record is its tick's own."""
    out = []
    for event in events:
        if isinstance(event, Record):
            assert event.raw == record_of(event.tick)
            out.append(event.tick)
        elif isinstance(event, Gap):
            out.append((event.first, event.last))
    return out


def test_a_lost_record_is_asked_for_and_comes_in_its_place(bench):
    bench.device.lost = {503}
    events = bench.deliver(bench.device.ticks(5))
    assert told(events) == [501, 502, 503, 504, 505]
    assert [event.again for event in events] == [False, False, True, False, False]
    assert [done for done in bench.device.done if done[0] == messages.BACKFILL] == [
        (messages.BACKFILL, (503).to_bytes(4, "little"))
    ]


def test_nothing_newer_is_given_before_the_missing_record(bench):
    bench.device.lost = {503}
    bench.device.deaf = 1
    assert told(bench.deliver(bench.device.ticks(5))) == [501, 502]
    assert told(bench.deliver(bench.device.ticks(5))) == []
    assert told(bench.wait()) == list(range(503, 511))


def test_a_record_sent_twice_is_given_once(bench):
    live = bench.device.ticks(4)
    assert told(bench.deliver(live)) == [501, 502, 503, 504]
    assert told(bench.deliver(live)) == []
    assert told(bench.send(bench.session.backfill(501))) == []


def test_a_resent_record_may_be_lost_too(bench):
    bench.device.lost = {503, 505}
    bench.device.lost_again = [503, 503, 505]
    events = bench.deliver(bench.device.ticks(6))
    for _ in range(3):
        events += bench.wait()
    assert told(events) == list(range(501, 507))


def test_a_record_lost_inside_a_resend_is_asked_for_without_waiting(bench):
    bench.device.lost = {503, 505}
    bench.device.lost_again = [505]
    assert told(bench.deliver(bench.device.ticks(6))) == list(range(501, 507))


def test_a_resend_that_takes_its_time_is_asked_for_once(bench):
    bench.device.lost = set(range(503, 523))
    live = bench.device.ticks(30)
    events = bench.session.receive(live, 0.0)
    resent = bench.device.feed(bench.session.take_outgoing())
    for number, at in enumerate(range(0, len(resent), 150)):
        events += bench.session.receive(resent[at : at + 150], number * ANSWER_S / 2)
        assert bench.session.take_outgoing() == b""
    assert told(events) == list(range(501, 531))


@pytest.mark.parametrize("tells_oldest", [True, False])
def test_what_has_left_the_ring_is_a_gap(bench, tells_oldest):
    bench.device.tells_oldest = tells_oldest
    bench.device.lost = set(range(503, 520))
    live = bench.device.ticks(25)
    for tick in range(503, 510):
        del bench.device.ring[tick]
    assert told(bench.deliver(live)) == [501, 502, (503, 509), *range(510, 526)]


def test_what_is_still_in_the_ring_is_no_part_of_the_gap(bench):
    bench.device.lost = set(range(503, 520))
    live = bench.device.ticks(25)
    for tick in range(503, 510):
        del bench.device.ring[tick]
    events = bench.session.receive(live, 0.0)
    resent = bench.device.feed(bench.session.take_outgoing())
    for at in range(0, len(resent), 150):
        events += bench.session.receive(resent[at : at + 150], 0.0)
    assert bench.session.take_outgoing() == b""
    assert told(events) == [501, 502, (503, 509), *range(510, 526)]


def test_missing_records_wait_for_a_request_and_its_answer(bench):
    # with a newer number the device would forget the answer it may have to repeat
    bench.device.mute = 1
    assert bench.send(bench.session.acknowledge(4)) == []
    bench.device.lost = {502}
    events = bench.deliver(bench.device.ticks(3))
    assert told(events) == [501]
    events = bench.wait() + bench.wait()
    assert told(events) == [502, 503]
    assert bench.device.done.count((messages.ACK_PROMPT, b"\4\2")) == 1


def test_a_request_may_overtake_the_ask_for_missing_records(bench):
    bench.device.lost = {502}
    bench.device.deaf = 1
    assert told(bench.deliver(bench.device.ticks(3))) == [501]
    bench.device.mute = 2
    assert bench.send(bench.session.acknowledge(4)) == []
    events = bench.wait() + bench.wait() + bench.wait() + bench.wait()
    assert told(events) == [502, 503]
    assert [event.refusal for event in events if isinstance(event, Reply)] == [messages.DONE]
    assert bench.device.done.count((messages.ACK_PROMPT, b"\4\2")) == 1


def test_a_refused_resend_is_a_gap(bench):
    bench.device.lost = {503, 504}
    bench.device.refuse[messages.BACKFILL] = bytes([messages.BAD_RANGE])
    assert told(bench.deliver(bench.device.ticks(5))) == [501, 502, (503, 504), 505]


def test_a_busy_device_is_asked_again_later(bench):
    bench.device.lost = {503}
    bench.device.refuse[messages.BACKFILL] = bytes([messages.BUSY])
    assert told(bench.deliver(bench.device.ticks(4))) == [501, 502]
    for _ in range(20):
        assert told(bench.wait()) == []
    bench.device.refuse.clear()
    assert told(bench.wait() + bench.wait()) == [503, 504]


def test_an_answer_without_any_resend_ends_in_a_gap(bench):
    bench.device.tells_oldest = False
    bench.device.lost = {503}
    live = bench.device.ticks(4)
    bench.device.ring.clear()
    events = bench.deliver(live)
    assert told(events) == [501, 502]
    for _ in range(6):
        events += bench.wait()
    assert told(events) == [501, 502, (503, 503), 504]


def test_silence_is_no_gap(bench):
    # the device may have the records still; only it can say that it has not
    bench.device.lost = {503}
    bench.device.deaf = 40
    events = bench.deliver(bench.device.ticks(4))
    for _ in range(60):
        if bench.device.deaf:
            events += bench.wait()
    assert bench.device.deaf == 0
    assert told(events) == [501, 502]
    assert [event.request_type for event in events if isinstance(event, Silent)]
    for _ in range(3):
        events += bench.wait()
    assert told(events) == [501, 502, 503, 504]


def test_a_broken_off_record_goes_on_where_it_ended():
    bench = Bench(tick=500).connect()
    assert told(bench.deliver(bench.device.ticks(4))) == [501, 502, 503, 504]
    bench.device.ticks(16)  # nobody listens
    bench.session = Session(NONCE, first_tick=505, answer_s=ANSWER_S)
    assert told(bench.send(bench.session.hello())) == list(range(505, 521))
    assert told(bench.deliver(bench.device.ticks(2))) == [521, 522]


def test_a_device_that_was_reset_meanwhile_begins_anew():
    bench = Bench(tick=3, first_tick=505).connect()
    assert told(bench.deliver(bench.device.ticks(2))) == [4, 5]


def test_a_second_gap_is_asked_for_without_waiting(bench):
    bench.device.lost = {503, 510}
    assert told(bench.deliver(bench.device.ticks(5))) == [501, 502, 503, 504, 505]
    assert told(bench.deliver(bench.device.ticks(8))) == list(range(506, 514))


@settings(max_examples=150, deadline=None)
@given(
    lost=st.sets(st.integers(501, 560)),
    lost_again=st.lists(st.integers(501, 560), max_size=6, unique=True),
    bursts=st.lists(st.integers(1, 15), min_size=1, max_size=8),
    deaf=st.integers(0, 3),
    mute=st.integers(0, 3),
)
def test_any_loss_that_the_ring_can_mend_is_mended(lost, lost_again, bursts, deaf, mute):
    bench = Bench(tick=500).connect()
    bench.device.lost = lost
    bench.device.lost_again = lost_again
    bench.device.deaf = deaf
    bench.device.mute = mute
    events = []
    for burst in bursts:
        events += bench.deliver(bench.device.ticks(burst))
        events += bench.wait(ANSWER_S / 2)
    bench.device.lost = set()
    events += bench.deliver(bench.device.ticks(1))
    for _ in range(30):
        events += bench.wait()
    assert told(events) == list(range(501, 501 + sum(bursts) + 1))


@settings(max_examples=150, deadline=None)
@given(
    lost=st.sets(st.integers(501, 540)),
    gone=st.sets(st.integers(501, 540)),
    lost_again=st.lists(st.integers(501, 540), max_size=20),
    tells_oldest=st.booleans(),
)
def test_whatever_happens_each_tick_is_a_record_or_in_a_gap(lost, gone, lost_again, tells_oldest):
    bench = Bench(tick=500).connect()
    bench.device.tells_oldest = tells_oldest
    bench.device.lost = lost
    bench.device.lost_again = lost_again
    live = bench.device.ticks(40)
    for tick in gone:
        del bench.device.ring[tick]
    events = bench.deliver(live)
    bench.device.lost = set()
    events += bench.deliver(bench.device.ticks(1))
    for _ in range(200):
        events += bench.wait()
    covered = []
    for item in told(events):
        covered += [item] if isinstance(item, int) else range(item[0], item[1] + 1)
    assert covered == list(range(501, 542))
