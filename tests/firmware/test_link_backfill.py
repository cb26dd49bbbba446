"""Lost records are asked for again, and whatever else comes on the wire never heats."""

import struct

from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.link.frames import Frame, encode
from emberbed.link.packed import unpack
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.block_ring import FORM_WHOLE
from emberbed_fw.link import OUT_BYTES
from tests.support.bench import Bench
from tests.support.wire import (
    HOST_NONCE,
    Wire,
    connected,
)

# Backfill


def asked_again(wire, first):
    """Ask for everything from a tick on; return what the device says of it."""
    refusal, data = wire.ask(ms.BACKFILL, struct.pack("<I", first))
    assert refusal == "DONE"
    return struct.unpack(ms.BACKFILL_REPLY, data)


def again(wire):
    """Return the payloads that came again."""
    return [one.payload for one in wire.heard if one.message_type == ms.BACKFILL_BLOCK]


def whole_ticks(wire):
    return [struct.unpack_from("<BI", one)[1] for one in again(wire) if one[0] == FORM_WHOLE]


def test_lost_records_are_sent_again():
    wire = connected()
    wire.tick(20)
    first, asked_at = wire.records()[4], wire.machine.tick
    assert asked_again(wire, first) == (first, 1, 1)
    wire.tick(20)
    assert whole_ticks(wire) == list(range(first, first + len(again(wire))))
    assert whole_ticks(wire)[-1] > asked_at, "it caught up with the live records"
    live = {f.payload for f in wire.heard if f.message_type == ms.RECORD}
    assert {payload[1:] for payload in again(wire)} <= live, "the same bytes"


def test_backfill_sends_at_most_two_frames_a_tick():
    wire = connected()
    wire.tick(40)
    asked_again(wire, wire.records()[-20])
    before = len(again(wire))
    wire.tick()
    assert len(again(wire)) - before == 2


def test_older_ticks_come_packed_and_the_newest_whole():
    wire = connected()
    wire.tick(300)
    assert asked_again(wire, 1) == (1, 1, 1)
    wire.tick(100)
    blocks = [unpack(one) for one in again(wire) if one[0] != FORM_WHOLE]
    packed = [tick.tick for block in blocks for tick in block.ticks]
    assert packed == list(range(1, len(packed) + 1))
    assert whole_ticks(wire)[0] <= packed[-1] + 1
    assert whole_ticks(wire)[-1] > 303, "it caught up with the live records"


def test_backfill_of_ticks_that_have_not_been_sends_nothing():
    wire = connected()
    wire.tick(5)
    first, _seconds_from, _fine_from = asked_again(wire, 2**32 - 1)
    assert first == wire.machine.tick + 1
    wire.tick(5)
    assert again(wire) == []


def test_wanted_records_go_out_without_a_tick():
    """A port that waits for acknowledgements makes no ticks; the lost record must still come."""
    wire = Wire().to_run()
    wire.renews = False
    wire.tick(8)
    first = wire.machine.tick - 5
    wire.feed(wire.frame(ms.BACKFILL, struct.pack("<I", first)))
    for _ in range(3):
        wire.turn_without_tick()
    assert whole_ticks(wire) == list(range(first, wire.machine.tick))


def test_malformed_backfill_is_refused():
    assert connected().ask(ms.BACKFILL, b"\1") == ("BAD_LENGTH", b"")


# Whatever comes


def test_host_that_does_not_read_costs_frames_and_never_the_tick():
    wire = Wire().to_run()
    filled = []
    for _ in range(100):
        renewal = wire.frame(ms.RENEW, struct.pack("<I", wire.machine.tick), sequence=0)
        wire.link.receive(renewal, len(renewal))
        wire.bench.sample(wire.machine.inputs)
        wire.machine.sample_to_drive()
        wire.recorder.pack(wire.machine)
        wire.link.after_tick()
        filled.append(wire.link.out_filled)
        assert len(wire.link.out) == OUT_BYTES
    assert OUT_BYTES - 300 < max(filled) <= OUT_BYTES
    assert wire.machine.driven_zones, "it renews, so it may heat, deaf as it is"


any_frame = st.builds(
    Frame,
    message_type=st.one_of(st.sampled_from(sorted(ms.MESSAGE_NAMES)), st.integers(0, 255)),
    session=st.sampled_from([0, 1, 2**32 - 1]),  # 1 stands for the right one
    sequence=st.integers(0, 65535),
    tick=st.sampled_from([0, 50, 2**32 - 1]),
    payload=st.one_of(
        st.binary(max_size=12), st.just(struct.pack("<BI", 1, HOST_NONCE)),
        st.just(b"\xff\xff" + bytes(6)), st.binary(max_size=200).map(lambda part: b"\0\0" + part),
    ),
    version=st.sampled_from([1, 1, 1, 2]),
)  # fmt: skip


@settings(max_examples=60)
@given(st.lists(st.one_of(any_frame, st.binary(max_size=60)), max_size=30))
def test_any_frames_never_raise_and_never_heat(parts):
    wire = connected(Bench())
    for part in parts:
        if isinstance(part, Frame):
            session = wire.session if part.session == 1 else part.session
            part = encode(
                Frame(
                    part.message_type, session, part.sequence, part.tick, part.payload, part.version
                )
            )
        wire.feed(part)
        wire.tick()
        assert wire.machine.driven_zones == 0
        assert wire.machine.life.state not in rs.HEATING_STATES
