"""The injection entry, in the real MicroPython: what it says of itself, what it takes, what it is
not."""

import pytest

from emberbed.bench.prepare import NotReady, read_to_run
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.link.device import Device
from emberbed.link.frames import Frame, FrameSplitter, encode
from emberbed_fw import messages as ms
from emberbed_fw import record
from emberbed_fw import run_states as rs
from emberbed_fw.ports import inject
from emberbed_hil.channel import Sample, sample_frame
from emberbed_hil.trip_ways import HOLD_C


def test_greeting_and_records_say_that_readings_are_injected(bench):
    bench.tick(5)
    assert bench.device.greeting.entry == ms.ENTRY_INJECTED
    assert bench.device.greeting.board_number == b"inject\0\1"
    assert all(tick.record.port_flags & record.PORT_INJECTED for tick in bench.ticks)


def test_no_run_counts_there(bench):
    with pytest.raises(NotReady, match="takes injected readings and drives no pins"):
        read_to_run(bench.device)


def test_what_is_injected_is_what_is_read(bench):
    bench.scene.live_ticks = 0
    bench.scene.board_c = {0: 123.25, 1: 77.5}
    bench.tick(2)
    assert abs(bench.newest.channel0_cdeg - 12325) <= 30
    assert abs(bench.newest.channel1_cdeg - 7750) <= 30


def test_given_ticks_are_one_for_each_sample_and_last_what_they_say(bench):
    bench.tick(3)
    before = bench.newest.tick
    bench.elapsed_ms = 137
    bench.tick(10)
    assert [tick.record.tick for tick in bench.since(before)] == list(
        range(before + 1, before + 11)
    )
    assert bench.newest.elapsed_ms == 137


def test_ticks_at_once_see_one_reading_each_with_a_record_of_its_own(bench):
    bench.tick(3)
    before = bench.newest.tick
    bench.tick(20, at_once=10)
    told = bench.since(before)
    assert [tick.record.tick for tick in told] == list(range(before + 1, before + 21))
    sequences = [tick.outputs.sequence for tick in told]
    assert sequences == [sequences[0]] * 10 + [sequences[0] + 1] * 10


def test_its_own_clock_makes_ten_ticks_a_second(bench):
    bench.tick(3)
    told = bench.own_clock(3.0)
    assert 24 <= len(told) <= 33
    assert 80 <= sum(tick.outputs.elapsed_ms for tick in told[1:]) / (len(told) - 1) <= 120


def test_readings_that_nobody_renews_grow_stale(bench):
    """The wire is silent: what was injected last is no reading any more."""
    bench.tick(3)
    bench._given = False
    bench._port.write(sample_frame(Sample(bytes(32), 0, 0b11, 1, 0), 4000))
    bench._told = lambda _outputs: None
    bench._port._on_outputs = lambda _outputs: None
    bench.device.poll(0.5)
    last = [event for event in bench.device.poll(0.5) if hasattr(event, "raw")]
    assert last, "records go on"
    assert last[-1].raw[8] == 0  # fresh channels


def test_a_sample_that_came_twice_makes_one_tick(bench):
    bench.elapsed_ms = 37  # no tick of its own clock, which goes on when we are late, is as short
    bench.tick(3)
    before = bench.newest.tick
    bench._idle()
    bench._port.write(bench._resend)
    bench._port.write(bench._resend)
    bench.tick(4)
    given = [t.outputs.sequence for t in bench.since(before) if t.record.elapsed_ms == 37]
    assert len(given) >= 2
    assert len(given) == len(set(given))


def test_a_device_of_the_usual_kind_takes_no_sample():
    with VirtualDevice(VirtualBench()) as usual, Device.connect(usual.url) as device:
        assert device.greeting.entry == ms.ENTRY_HEATS
        words = Sample(b"\xff" * 32, record.PORT_BUTTON, 0xFF, 1, 100)
        device._port.write(sample_frame(words, 1))
        splitter, frames = FrameSplitter(), []
        while not any(frame.message_type == ms.REPLY for frame in frames):
            frames += splitter.feed(device._port.read(1.0))
        reply = next(frame for frame in frames if frame.message_type == ms.REPLY)
        assert reply.payload[3] == ms.WRONG_VERSION
        records = [frame for frame in frames if frame.message_type == ms.RECORD]
        assert not any(frame.payload[6] & record.PORT_INJECTED for frame in records)


def test_reset_leaves_it_and_forgets_the_run(bench):
    bench.to_run(board_c=HOLD_C)
    assert bench.newest.state == rs.RUN
    greeting = bench.reset()
    assert greeting.state == rs.IDLE and greeting.run_session == 0


def test_foreign_frames_of_its_channel_do_nothing(bench):
    bench.tick(3)
    for kind in (0, 4, 99):
        bench.write_raw(encode(Frame(kind, 0, 1, 0, bytes(10), inject.VERSION)))
    bench.write_raw(encode(Frame(inject.SAMPLE, 0, 9, 0, bytes(7), inject.VERSION)))
    bench.tick(5)
    assert bench.newest.trip == 0 and bench.newest.state == rs.IDLE
