"""What is asked on the wire: plans, settings, backfill, and anything else at all."""

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.link.frames import Frame, encode
from emberbed.link.packed import unpack
from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.block_ring import FORM_WHOLE
from emberbed_fw.link import OUT_BYTES
from emberbed_fw.safety_limits import MOST_OFFSET_CDEG
from emberbed_fw.trip_codes import SENSOR_LIFTED, TRIP_CODES
from tests.support.bench import Bench, arm_payload
from tests.support.plans import bench_settings, build_plan, cool, hold, patch_plan, wait
from tests.support.wire import (
    HOST_NONCE,
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


@pytest.mark.parametrize("kind", [ms.FEEDFORWARD, 0, 15, 64, ms.REPLY, ms.RECORD, 255])
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
