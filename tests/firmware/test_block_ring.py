"""The packed memory: what goes in comes out bit for bit, it stays inside its bounds, and it reaches
as far back as it must."""

import random
import struct
import sys

from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.link.frames import crc32
from emberbed.link.packed import read_numbers, unpack
from emberbed_fw import messages as ms
from emberbed_fw import record, recorder
from emberbed_fw import run_states as rs
from emberbed_fw.block_ring import BLOCK_BYTES, MOST_ENTRIES, BlockRing
from emberbed_fw.recorder import Recorder
from emberbed_fw.snapshot import take_snapshot
from emberbed_fw.snapshot_parts import PART, SnapshotParts
from emberbed_fw.tick_pack import MOST_ENTRY, put_signed
from emberbed_fw.units import NO_READING_CDEG, TICKS_PER_MIN, TICKS_PER_S
from emberbed_sim.plant.converter import convert
from tests.support.bench import Bench
from tests.support.packed_records import packed_record

DAY_TICKS = 24 * 60 * TICKS_PER_MIN


def kept(ring):
    """Return every packed tick of a ring, the oldest first."""
    ticks = []
    tick = 0
    while (index := ring.find(tick)) >= 0:
        out = bytearray(BLOCK_BYTES)
        block = unpack(bytes(out[: ring.copy_block(index, out, 0)]))
        ticks += block.ticks
        tick = block.last_tick + 1
    return ticks


def take_all(ring, records):
    for raw in records:
        ring.take(struct.unpack_from("<I", raw)[0], raw, len(raw))


def inputs_of(raw):
    tick, elapsed_ms, flags, fresh, words = struct.unpack_from("<IHHB32s", raw)
    return tick, elapsed_ms, flags, fresh, words, raw[record.FIXED_BYTES :]


def inputs_kept(ring):
    return [
        (t.tick, t.elapsed_ms, t.port_flags, t.fresh_channels, t.words, t.commands)
        for t in kept(ring)
    ]


WORDS = st.binary(min_size=32, max_size=32)
PORT = st.fixed_dictionaries(
    {
        "elapsed_ms": st.one_of(st.integers(95, 105), st.integers(0, 0xFFFF)),
        "port_flags": st.integers(0, 0xFFFF),
        "fresh_channels": st.integers(0, 255),
        "words": WORDS,
        "commands": st.sampled_from(
            [b"", b"\x08\x01\x01", struct.pack("<BBI", ms.RENEW, 4, 70_000), b"\x02\x04" * 40]
        ),
    }
)


@settings(max_examples=150)
@given(st.lists(PORT, min_size=1, max_size=40), st.integers(0, 2**31))
def test_whatever_was_read_comes_out_again(ports, first):
    records = [packed_record(first + n, **port) for n, port in enumerate(ports)]
    ring = BlockRing(60, 1)
    take_all(ring, records)
    assert inputs_kept(ring) == [inputs_of(raw) for raw in records]


@settings(max_examples=300)
@given(st.integers(-(2**30) + 1, 2**30 - 1))
def test_every_number_is_written_and_read(number):
    octets = bytearray(5)
    assert read_numbers(bytes(octets[: put_signed(octets, 0, number)])) == [number]


def test_thinned_entries_carry_what_the_device_did():
    ring = BlockRing(8, 10)
    records = [
        packed_record(
            n, state=rs.RUN, verdict=1, stage=n // 50, trip=2, demand0_q15=100 * n,
            setpoint_cdeg=NO_READING_CDEG if n % 50 == 0 else 100 * n, energy_j=37 * n * n,
        )
        for n in range(1, 200)
    ]  # fmt: skip
    take_all(ring, records)
    for one in kept(ring):
        assert one.tick % 10 == 0 and one.outputs is not None
        raw = records[one.tick - 1]
        said = dict(zip((name for name, _c in record.FIELDS), struct.unpack_from(record.FIXED, raw),
                        strict=True))  # fmt: skip
        out = one.outputs
        assert (out.state, out.verdict, out.stage, out.trip) == (rs.RUN, 1, said["stage"], 2)
        assert out.setpoint_cdeg == said["setpoint_cdeg"] and out.energy_j == said["energy_j"]
        assert 0 <= said["demand0_q15"] - out.demand0_q15 < 128


def test_block_of_every_tick_has_the_check_of_its_records():
    """CRC-32 of IEEE 802.3 over the records' bytes, by the host's own library."""
    ring = BlockRing(30, 1)
    records = [packed_record(n, energy_j=n * 7, words=random.Random(n).randbytes(32))
               for n in range(1, 250)]  # fmt: skip
    take_all(ring, records)
    checked = 0
    while (index := ring.find(checked + 1)) >= 0:
        out = bytearray(BLOCK_BYTES)
        block = unpack(bytes(out[: ring.copy_block(index, out, 0)]))
        crc = 0
        for one in block.ticks:
            crc = crc32(records[one.tick - 1], crc)
        assert block.check == crc and len(block.ticks) <= MOST_ENTRIES
        checked = block.last_tick
    assert checked == 249


def test_renewals_cost_a_byte():
    ring = BlockRing(30, 1)
    renewal = [struct.pack("<BBI", ms.RENEW, 4, max(0, n - 1)) for n in range(2000)]
    records = [packed_record(n, commands=renewal[n]) for n in range(1, 1500)]
    take_all(ring, records)
    assert [one.commands for one in kept(ring)] == renewal[1:1500]


def couples(tick, channels, noise, hot_c):
    """Return converter words that flicker: 0.25 and 0.0625 degC steps (MAX31855 datasheet)."""
    words = [
        convert(hot_c(tick) + noise.gauss(0, 0.15), 27 + noise.gauss(0, 0.04))
        for _channel in range(channels)
    ]
    return struct.pack(">8I", *words, *[0] * (8 - channels))


def test_four_flickering_couples_are_kept_for_as_long_as_they_must_be():
    """Every tick of 5 min, then one a second to 15 min; a ramp of 1 degC/s, nobody listening."""
    noise = random.Random(1)
    memory = Recorder()
    for tick in range(1, 15 * TICKS_PER_MIN + 2000):
        raw = packed_record(
            tick, words=couples(tick, 4, noise, lambda t: 25 + t / 10 % 200), fresh_channels=15,
            state=rs.RUN, energy_j=tick * 40, setpoint_cdeg=2500 + tick, demand0_q15=tick % 999,
        )  # fmt: skip
        for ring in (memory.fine, memory.second):
            ring.take(tick, raw, len(raw))
    assert tick - memory.fine.oldest_tick() >= 5 * TICKS_PER_MIN
    assert tick - memory.second.oldest_tick() >= 15 * TICKS_PER_MIN
    bytes_a_tick = BLOCK_BYTES * recorder.FINE_BLOCKS / (tick - memory.fine.oldest_tick())
    assert 5 < bytes_a_tick < 7.5  # "about 6 bytes"


def test_day_of_a_bake_is_kept_one_in_30_s():
    """24 h at 110 degC, four couples, nobody there to listen."""
    noise = random.Random(2)
    ring = BlockRing(recorder.RUN_BLOCKS, recorder.RUN_TICKS)
    for tick in range(300, DAY_TICKS + 3000, 300):
        raw = packed_record(
            tick, words=couples(tick, 4, noise, lambda _t: 110), fresh_channels=15, state=rs.RUN,
            energy_j=tick * 31, setpoint_cdeg=11000, demand0_q15=9000 + noise.randrange(500),
        )  # fmt: skip
        ring.take(tick, raw, len(raw))
    assert tick - ring.oldest_tick() >= DAY_TICKS


def test_memory_is_fixed_and_inside_its_bound():
    """40 KiB for the minutes (a contract between the rooms); nothing grows with the ticks."""
    assert recorder.RING_BYTES <= 40 * 1024
    memory = Recorder()
    for ring in (memory.fine, memory.second, memory.run):
        size = ring_bytes(ring)
        take_all(ring, [packed_record(n * ring.step, words=random.Random(n).randbytes(32))
                        for n in range(1, 1500)])  # fmt: skip
        assert ring_bytes(ring) == size


def ring_bytes(ring):
    return sum(sys.getsizeof(part) for part in (*ring._chunks, ring._lengths, ring._first))


def test_longest_entry_fits_a_block_of_its_own():
    assert MOST_ENTRY + 12 <= BLOCK_BYTES


def test_ticks_that_do_not_follow_begin_a_block():
    ring = BlockRing(10, 1)
    take_all(ring, [packed_record(n) for n in (5, 6, 7, 20, 21)])
    assert [one.tick for one in kept(ring)] == [5, 6, 7, 20, 21]


def test_overwritten_blocks_are_the_oldest():
    ring = BlockRing(3, 1)
    take_all(ring, [packed_record(n, words=random.Random(n).randbytes(32)) for n in range(1, 200)])
    ticks = [one.tick for one in kept(ring)]
    assert ticks == list(range(ticks[0], 200)) and 1 < ticks[0] <= ring.oldest_tick()


def test_snapshot_goes_through_its_parts():
    machine = Bench().to_run().machine
    parts = SnapshotParts()
    parts.take(machine)
    whole, heads = b"", []
    out = bytearray(300)
    while length := parts.next_into(out, 10):
        heads.append(struct.unpack_from(PART, out, 10))
        whole += bytes(out[10 + struct.calcsize(PART) : 10 + length])
    assert read_numbers(whole) == take_snapshot(machine)
    assert heads == [(machine.tick, n, len(heads)) for n in range(len(heads))]


def test_no_second_is_missing_at_the_border_of_the_memories():
    assert recorder.SECOND_TICKS == TICKS_PER_S and recorder.RUN_TICKS == 30 * TICKS_PER_S
