"""The memory: what is kept, what is freed, what is lost and counted."""

import struct

from emberbed.records import commands_of, decode_record
from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_fw.frames import MAX_PAYLOAD
from emberbed_fw.recorder import RING_SLOTS, Recorder, pack_record
from emberbed_fw.trip_codes import SENSOR_OPEN, SENSOR_STALE
from tests.support.bench import OPEN_WORD, Bench


def kept(recorder):
    """Return the ticks whose record can be given."""
    return list(range(recorder.oldest_tick, recorder.newest_tick + 1))


def record_ticks(recorder, bench, count):
    for _ in range(count):
        bench.tick()
        recorder.pack(bench.machine)


def test_record_has_the_fixed_length_and_its_commands():
    bench = Bench()
    bench.tick()
    assert len(bench.packed) == record.FIXED_BYTES
    bench.renews = False
    bench.stop()
    bench.tick()
    assert len(bench.packed) == record.FIXED_BYTES + 3
    assert commands_of(bench.packed) == [(messages.STOP, b"\x01")]


def test_record_says_everything_that_was_read():
    bench = Bench()
    bench.raw = {0: OPEN_WORD, 1: 0x0D901E80}
    bench.elapsed_ms = 117
    bench.fresh_channels = 0b10
    bench.button = True
    bench.contactor = "always"
    bench.tick()
    said = bench.record
    assert said.tick == 1 and said.elapsed_ms == 117 and said.fresh_channels == 0b10
    assert said.port_flags == record.PORT_BUTTON | record.PORT_CONTACTOR_CLOSED
    assert said.words == struct.pack(">8I", OPEN_WORD, 0x0D901E80, *[0] * 6)
    assert said.fault(0) == SENSOR_OPEN and said.channel_cdeg(0) is None
    assert said.cold1_cdeg == 3050
    assert said.state == rs.IDLE


def test_faults_of_all_channels_have_their_own_place():
    bench = Bench()
    bench.machine.readings.fault[:] = [1, 2, 3, 4, 5, 6, 1, 2]
    out = bytearray(record.MAX_RECORD)
    pack_record(bench.machine, out)
    said = decode_record(bytes(out[: record.FIXED_BYTES]))
    assert [said.fault(channel) for channel in range(8)] == [1, 2, 3, 4, 5, 6, 1, 2]
    assert SENSOR_STALE < 16


def test_every_zone_and_channel_has_its_own_field():
    machine = Bench().machine
    machine.demand_q15[:] = [11, 12, 13, 14]
    machine.readings.cdeg[:] = range(21, 29)
    machine.readings.cold_cdeg[:] = range(31, 39)
    out = bytearray(record.MAX_RECORD)
    said = decode_record(bytes(out[: pack_record(machine, out)]))
    assert said.demands_q15() == [11, 12, 13, 14]
    assert said.channels_cdeg() == list(range(21, 29))
    assert [getattr(said, f"cold{channel}_cdeg") for channel in range(8)] == list(range(31, 39))


def test_slot_is_the_same_as_the_packed_record():
    bench, recorder = Bench(), Recorder()
    bench.renews = False  # the bench has forgotten its requests by the time this recorder looks
    for _ in range(RING_SLOTS + 5):
        bench.tick()
        recorder.pack(bench.machine)
        tick = bench.machine.tick
        assert bytes(recorder.slot(tick)[: recorder.length(tick)]) == bench.packed


def test_full_ring_counts_what_it_loses():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, RING_SLOTS)
    assert kept(recorder) == list(range(1, RING_SLOTS + 1)) and recorder.lost == 0
    record_ticks(recorder, bench, 3)
    assert kept(recorder) == list(range(4, RING_SLOTS + 4)) and recorder.lost == 3
    assert recorder.unacknowledged() == RING_SLOTS
    assert decode_record(bytes(recorder.slot(4)[: record.FIXED_BYTES])).tick == 4


def test_release_frees_up_to_the_acknowledged_tick():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, 20)
    recorder.release(12)
    assert kept(recorder) == list(range(13, 21)) and recorder.unacknowledged() == 8
    recorder.release(20)
    assert kept(recorder) == [] and recorder.unacknowledged() == 0


def test_records_may_be_released_one_by_one():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, 5)
    for tick in range(1, 6):
        recorder.release(tick)
        assert kept(recorder) == list(range(tick + 1, 6))


def test_release_of_old_or_future_ticks_changes_nothing():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, 20)
    recorder.release(12)
    for tick in (0, 5, 12, 21, 1000, 2**32 - 1):
        recorder.release(tick)
    assert kept(recorder) == list(range(13, 21))


def test_released_room_is_used_again_without_loss():
    bench, recorder = Bench(), Recorder()
    for _ in range(10):
        record_ticks(recorder, bench, RING_SLOTS - 1)
        recorder.release(bench.machine.tick)
    assert recorder.lost == 0


def test_new_session_starts_at_the_next_tick():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, RING_SLOTS + 10)
    recorder.begin_session()
    assert recorder.unacknowledged() == 0 and recorder.lost == 0
    record_ticks(recorder, bench, 1)
    assert kept(recorder) == [RING_SLOTS + 11]


def test_longest_record_has_room_for_every_command():
    assert record.MAX_RECORD - record.FIXED_BYTES == record.COMMAND_BYTES
    assert record.MAX_RECORD <= MAX_PAYLOAD, "and fits one frame"
