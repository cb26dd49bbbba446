"""The memory: what is kept whole, what is acknowledged. (The packed rings: test_block_ring.)"""

import struct

from emberbed.records import commands_of, decode_record
from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_fw.frames import MAX_PAYLOAD
from emberbed_fw.recorder import MOST_OWED, RING_SLOTS, Recorder, pack_record
from emberbed_fw.trip_codes import SENSOR_OPEN, SENSOR_STALE
from tests.support.bench import OPEN_WORD, Bench


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


def test_newest_records_are_kept_whole():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, RING_SLOTS)
    assert recorder.oldest_whole() == 1
    record_ticks(recorder, bench, 3)
    assert recorder.oldest_whole() == 4
    assert decode_record(bytes(recorder.slot(4)[: record.FIXED_BYTES])).tick == 4


def test_acknowledged_records_are_owed_no_more():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, 20)
    recorder.release(12)
    assert recorder.unacknowledged() == 8
    for tick in (0, 5, 12, 21, 1000, 2**32 - 1):  # old or future: changes nothing
        recorder.release(tick)
    assert recorder.unacknowledged() == 8
    recorder.release(20)
    assert recorder.unacknowledged() == 0
    assert recorder.oldest_whole() == 1, "and may still be asked for"


def test_what_is_owed_is_told_up_to_a_bound():
    """The pipe's answer has 16 bits for it."""
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, MOST_OWED + 20)
    assert recorder.unacknowledged() == MOST_OWED < 2**16


def test_new_session_owes_nothing_of_before():
    bench, recorder = Bench(), Recorder()
    record_ticks(recorder, bench, RING_SLOTS + 10)
    recorder.begin_session()
    assert recorder.unacknowledged() == 0
    record_ticks(recorder, bench, 1)
    assert recorder.unacknowledged() == 1


def test_longest_record_has_room_for_every_command():
    assert record.MAX_RECORD - record.FIXED_BYTES == record.COMMAND_BYTES
    assert 1 + record.MAX_RECORD <= MAX_PAYLOAD, "and fits one frame, sent again too"
