"""The record field by field, and how much memory the recorder takes."""

import struct

import pytest

from emberbed.records import decode_record
from emberbed_fw import record, recorder
from emberbed_fw import run_states as rs
from emberbed_fw import settings as described
from emberbed_fw.block_ring import BLOCK_BYTES
from emberbed_fw.recorder import RING_SLOTS, Recorder, couples_of, pack_record, run_blocks_for
from emberbed_fw.settings import Settings, pack_settings
from emberbed_fw.trip_codes import OVER_TEMPERATURE
from tests.support.bench import Bench

KIB = 1024


def packed(machine):
    out = bytearray(b"\xee" * record.MAX_RECORD)
    length = pack_record(machine, out)
    assert set(out[length:]) <= {0xEE}, "nothing after it is touched"
    return bytes(out[:length])


def in_a_run():
    """Return a machine in a run, each of whose numbers is another."""
    machine = Bench().to_run().machine
    inputs, life, guard, sequencer = machine.inputs, machine.life, machine.guard, machine.sequencer
    machine.tick = 0x01020304
    inputs.elapsed_ms, inputs.port_flags, inputs.fresh_channels = 0x0506, 0x0708, 0x09
    inputs.words[:] = bytes(range(100, 132))
    life.verdict, life.waits_for = rs.TRIPPED, 13
    guard.trip, guard.second_trip, guard.withheld, guard.warnings = OVER_TEMPERATURE, 15, 0x1617, 18
    sequencer.stage, sequencer.prompt = 1, 20
    sequencer.stage_tick, sequencer.stage_elapsed = 0x21222324, 0x25262728
    sequencer.setpoint_cdeg, sequencer.offset_cdeg = -29, -30
    life.trip_counts[OVER_TEMPERATURE] = 31
    machine.energy_j = 0x32333435
    guard.model.emitter_mk, guard.model.most_emitter_mk = 360000, 370000
    machine.driven_zones, machine.outputs = 3, 0x39
    machine.touches.touch, machine.touches.source, machine.touches.mark = 40, 41, 42
    machine.readings.fault[:] = [1, 2, 3, 4, 5, 6, 7, 8]
    machine.readings.cdeg[:] = range(1000, 1008)
    machine.readings.cold_cdeg[:] = range(-4, 4)
    machine.demand_q15[:] = [51, 52, 53, 54]
    return machine


def test_every_field_says_its_own():
    machine = in_a_run()
    said = decode_record(packed(machine))._asdict()
    assert said == {
        "tick": 0x01020304, "elapsed_ms": 0x0506, "port_flags": 0x0708, "fresh_channels": 9,
        "words": bytes(range(100, 132)), "state": rs.RUN, "verdict": rs.TRIPPED, "stage": 1,
        "trip": OVER_TEMPERATURE, "second_trip": 15, "withheld": 0x1617, "warnings": 18,
        "waits_for": 13, "prompt": 20, "stage_tick": 0x21222324, "stage_elapsed": 0x25262728,
        "setpoint_cdeg": -29, "faults_low": 0x4321, "faults_high": 0x8765,
        "energy_j": 0x32333435, "emitter_mk": 360000, "most_emitter_mk": 370000,
        "driven_zones": 3, "outputs": 0x39, "touch": 40, "touch_source": 41, "mark": 42,
        "offset_cdeg": -30, "trips_of_cause": 31,
        **{f"demand{zone}_q15": 51 + zone for zone in range(4)},
        **{f"channel{channel}_cdeg": 1000 + channel for channel in range(8)},
        **{f"cold{channel}_cdeg": channel - 4 for channel in range(8)},
    }  # fmt: skip


@pytest.mark.parametrize("asked", [b"", b"\x08\x01\x01", bytes(range(80))])
def test_what_was_asked_comes_after_the_fields(asked):
    machine = in_a_run()
    machine.commands.octets[: len(asked)] = asked
    machine.commands.filled = len(asked)
    assert packed(machine)[record.FIXED_BYTES :] == asked


# Which tick is where


def ticks(memory, machine, first, last):
    for machine.tick in range(first, last + 1):
        memory.pack(machine)


def test_memory_begins_empty():
    memory = Recorder()
    assert (memory.newest_tick, memory.unacknowledged(), memory.oldest_whole()) == (0, 0, 1)
    assert [memory.length(tick) for tick in range(24)] == [0] * 24


def test_each_of_the_last_24_has_a_slot_of_its_own():
    memory, machine = Recorder(), Bench().machine
    for machine.tick in range(1, 31):
        machine.commands.filled = machine.tick
        memory.pack(machine)
    assert memory.oldest_whole() == 7
    for tick in range(7, 31):
        assert struct.unpack_from("<I", memory.slot(tick))[0] == tick
        assert memory.length(tick) == record.FIXED_BYTES + tick


def test_every_ring_takes_its_ticks():
    memory, machine = Recorder(), Bench().machine
    ticks(memory, machine, 1, 299)
    assert (memory.fine.oldest_tick(), memory.second.oldest_tick()) == (1, 10)
    assert memory.run.oldest_tick() == 0
    ticks(memory, machine, 300, 300)
    assert memory.run.oldest_tick() == 300


@pytest.mark.parametrize(
    ("acknowledged", "owed"), [(4, 10), (5, 10), (6, 9), (14, 1), (15, 0), (16, 10), (17, 10)]
)
def test_a_tick_between_the_last_and_the_newest_is_acknowledged(acknowledged, owed):
    memory, machine = Recorder(), Bench().machine
    ticks(memory, machine, 1, 15)
    memory.release(5)
    assert memory.unacknowledged() == 10
    memory.release(acknowledged)
    assert memory.unacknowledged() == owed


@pytest.mark.parametrize(("ticks_made", "owed"), [(999, 999), (1000, 1000), (1001, 1000)])
def test_at_most_a_thousand_are_owed(ticks_made, owed):
    memory = Recorder()
    memory.newest_tick = ticks_made
    assert memory.unacknowledged() == owed


# How much it takes


def blocks_of(memory):
    return [len(ring._first) for ring in (memory.fine, memory.second, memory.run)]


def test_memory_for_four_couples():
    """Blocks of 216 bytes; 5 min, 15 min and 24 h are proved in test_block_ring.py."""
    memory = Recorder()
    assert blocks_of(memory) == [104, 58, 162] and (RING_SLOTS, BLOCK_BYTES) == (24, 216)
    assert memory.ring_bytes == recorder.RING_BYTES == 24 * record.MAX_RECORD + 162 * 216
    assert memory.ring_bytes <= recorder.MOST_RING_BYTES == 40 * KIB
    assert memory.run_bytes == recorder.RUN_BYTES == 162 * 216


@pytest.mark.parametrize(
    ("couples", "fine", "second"), [(1, 59, 40), (2, 74, 46), (3, 89, 52), (4, 104, 58)]
)
def test_fewer_couples_take_fewer_blocks(couples, fine, second):
    memory = Recorder(run_blocks=8, couples=couples)
    assert blocks_of(memory) == [fine, second, 8] and memory.run_bytes == 8 * 216
    assert memory.ring_bytes == 24 * record.MAX_RECORD + (fine + second) * 216


@pytest.mark.parametrize(
    ("converters", "couples"),
    [
        ([], 1), ([0], 1), ([described.CONVERTER_MAX31855K], 1),
        ([described.CONVERTER_MAX6675] * 2, 2), ([described.CONVERTER_MAX31856], 2),
        ([described.CONVERTER_MAX31855K, described.CONVERTER_MAX31856], 3),
        ([described.CONVERTER_MAX31856] * 2, 4), ([described.CONVERTER_MAX31855K] * 5, 4),
        ([0] * 7 + [described.CONVERTER_THERMISTOR], 2), ([described.CONVERTER_MAX31856] * 8, 4),
    ],
)  # fmt: skip
def test_finer_converter_counts_as_two_couples(converters, couples):
    rows = [("x", converter, 20000, 0, 4096) for converter in converters]
    assert couples_of(Settings(pack_settings(0, rows, [(400, 1)]))) == couples


@pytest.mark.parametrize(
    ("spare_blocks", "blocks"),
    [(-200, 8), (0, 8), (8, 8), (9, 9), (100, 100), (162, 162), (163, 162), (5000, 162)],
)
@pytest.mark.parametrize("more_bytes", [0, 215])
def test_longest_memory_takes_what_the_heap_can_spare(spare_blocks, blocks, more_bytes):
    """Besides the minutes and 64 KiB for all the rest."""
    free = recorder.RING_BYTES + 64 * KIB + spare_blocks * 216 + more_bytes
    assert run_blocks_for(free) == blocks


def test_where_nobody_knows_the_heap_it_takes_all():
    assert run_blocks_for(0) == 162 and run_blocks_for(1) == 8
