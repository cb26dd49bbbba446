"""What the device sends besides answers: records, snapshots, what a host lacks, and how much."""

import struct

import pytest

from emberbed_fw import frames
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.link import LATER_FRAMES_PER_TURN, OUT_BYTES
from emberbed_fw.snapshot_parts import PART, SNAPSHOT_TICKS
from tests.support.wire import Wire, connected


def kinds(wire, since):
    return [frame.message_type for frame in wire.heard[since:]]


def loaded():
    """Return a connected wire with a plan, whose host has its first snapshot."""
    wire = connected()
    wire.write_plan(wire.bench.plan)
    wire.tick(20)
    return wire


def snapshots(wire):
    """Return (tick, part, parts) of every part of a snapshot heard so far."""
    return [
        struct.unpack_from(PART, frame.payload)
        for frame in wire.heard if frame.message_type == ms.SNAPSHOT
    ]  # fmt: skip


# STOP


@pytest.mark.parametrize(
    ("payload", "reason"),
    [(b"", ms.STOP_BY_PERSON), (bytes([ms.STOP_SMOKE]), ms.STOP_SMOKE),
     (bytes([ms.STOP_SELF_CHECK, 9, 9]), ms.STOP_SELF_CHECK)],
)  # fmt: skip
def test_reason_of_a_stop_is_recorded(payload, reason):
    wire = Wire().to_run()
    wire.renews = False
    assert wire.ask(ms.STOP, payload) == ("DONE", b"")
    tick = wire.machine.tick
    record = bytes(wire.recorder.slot(tick)[: wire.recorder.length(tick)])
    assert record[-3:] == bytes([ms.STOP, 1, reason])


def test_stop_leaves_the_order_of_requests_as_it_is():
    wire = connected()
    wire.feed(wire.frame(ms.STOP, b"\1", sequence=900))
    wire.tick()
    assert wire.ask(ms.PLAN_READ, b"\0\0\1") == ("DONE", b"")


# The wire is full


def test_frame_goes_out_whole_or_not_at_all():
    wire = connected()
    wire.tick()
    record = len(wire.heard[-1].payload) + frames.HEADER_BYTES + frames.CRC_BYTES + 3
    for room, fits in ((record, True), (record - 1, False)):
        wire.link.out_filled = OUT_BYTES - room
        wire.bench.sample(wire.machine.inputs)
        wire.machine.sample_to_drive()
        wire.recorder.pack(wire.machine)
        wire.link.after_tick()
        assert (wire.link.out_filled == OUT_BYTES) is fits
        assert wire.link.out_filled == OUT_BYTES - (0 if fits else room)
        assert len(wire.link.out) == OUT_BYTES
        wire.link.out_filled = 0


def test_one_turn_s_frames_have_room():
    """A record, two frames of what is sent again, and an answer, each of the longest."""
    assert OUT_BYTES == 2048 >= (2 + LATER_FRAMES_PER_TURN) * frames.MAX_FRAME


# Sent again


def test_two_frames_a_turn_come_again_and_snapshots_first():
    wire = loaded()
    wire.machine.tick = SNAPSHOT_TICKS - 41
    wire.tick(40)
    wire.ask(ms.BACKFILL, struct.pack("<I", wire.machine.tick - 10))
    wire.turn_without_tick()
    begun = len(wire.heard)
    wire.tick()
    parts = snapshots(wire)[-1][2]
    assert LATER_FRAMES_PER_TURN == 2 and parts > 1
    for _ in range(3):
        wire.turn_without_tick()
    came = kinds(wire, begun)
    assert came == [ms.RECORD] + [ms.SNAPSHOT] * parts + [ms.BACKFILL_BLOCK] * (8 - parts)


def test_without_anything_wanted_a_turn_sends_nothing():
    wire = loaded()
    begun = len(wire.heard)
    wire.turn_without_tick()
    assert wire.heard[begun:] == []
    assert wire.link._sequence_out == wire.heard[-1].sequence, "and no frame is numbered"


# Snapshots


def test_each_host_that_comes_gets_one_with_its_first_tick():
    wire = loaded()
    already = len(snapshots(wire))
    wire.hello()
    wire.tick(5)
    came = snapshots(wire)[already:]
    parts = came[0][2]
    assert came == [(wire.machine.tick - 4, number, parts) for number in range(parts)]


def test_no_snapshot_without_a_plan_and_the_first_with_it():
    wire = connected()
    wire.tick(20)
    assert snapshots(wire) == []
    wire.write_plan(wire.bench.plan)
    stored_at = wire.machine.tick
    assert wire.machine.life.state == rs.LOADED
    wire.tick(5)
    assert {tick for tick, _number, _parts in snapshots(wire)} == {stored_at}


def test_one_comes_every_five_minutes():
    wire = loaded()
    for minutes in (5, 10):
        wire.machine.tick = minutes * 600 - 5
        wire.tick(20)
    ticks = sorted({tick for tick, _number, _parts in snapshots(wire)})
    assert ticks[1:] == [SNAPSHOT_TICKS, 2 * SNAPSHOT_TICKS]


# The plan that came last


def test_plan_of_the_device_itself_is_read_back():
    wire = connected()
    wire.write_plan(wire.bench.plan)
    assert bytes(wire.link.plan_block()) == wire.bench.plan
    wire.link.keep_plan(b"\7\10\11")
    assert bytes(wire.link.plan_block()) == b"\7\10\11"
    assert wire.ask(ms.PLAN_READ, b"\0\0\x0a") == ("DONE", b"\7\10\11")
