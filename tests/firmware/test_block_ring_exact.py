"""A ring of blocks one block at a time: where each begins and ends, which is the oldest."""

import struct

import pytest

from emberbed.link.frames import crc32
from emberbed.link.packed import unpack
from emberbed_fw.block_ring import BLOCK_BYTES, HEAD, BlockRing
from tests.support.packed_records import packed_record

AT = 7  # where in the frame's body a block goes


def ring_with(ticks, blocks=3, step=1, **fields):
    ring = BlockRing(blocks, step)
    take(ring, ticks, **fields)
    return ring


def take(ring, ticks, **fields):
    for tick in ticks:
        raw = packed_record(tick, **fields)
        ring.take(tick, raw, len(raw))


def block(ring, index):
    """Return a block's bytes, as they are put into a frame."""
    out = bytearray(b"\xee" * 300)
    length = ring.copy_block(index, out, AT)
    assert len(out) == 300 and set(out[:AT] + out[AT + length :]) == {0xEE}
    return bytes(out[AT : AT + length])


def test_empty_ring_has_nothing():
    ring = BlockRing(3, 1)
    assert (ring.oldest_tick(), ring.find(0), ring.find(9)) == (0, -1, -1)


def test_memory_is_taken_in_pieces_of_eight_blocks():
    assert BLOCK_BYTES == 216
    for blocks, pieces in ((1, [1]), (8, [8]), (9, [8, 1]), (20, [8, 8, 4])):
        ring = BlockRing(blocks, 1)
        assert [len(chunk) for chunk in ring._chunks] == [216 * piece for piece in pieces]


def test_head_of_a_block_of_every_tick():
    records = [packed_record(tick, energy_j=tick) for tick in (5, 6, 7)]
    ring = BlockRing(3, 1)
    for raw in records:
        ring.take(struct.unpack_from("<I", raw)[0], raw, len(raw))
    index = ring.find(5)
    check = crc32(b"".join(records), 0)
    assert struct.unpack_from(HEAD, block(ring, index)) == (1, 1, 5, 3, check)
    assert ring.last_tick(index) == 7 and len(block(ring, index)) == 12 + 4 + 1 + 1


def test_head_of_a_thinned_block_has_no_check():
    ring = ring_with(range(1, 45), step=10)
    index = ring.find(1)
    assert struct.unpack_from(HEAD, block(ring, index)) == (1, 10, 10, 4, 0)
    assert ring.last_tick(index) == 40


@pytest.mark.parametrize(("step", "tells_outputs"), [(1, False), (2, True), (300, True)])
def test_only_thinned_blocks_tell_what_the_device_did(step, tells_outputs):
    ring = ring_with([600], step=step)
    (one,) = unpack(block(ring, ring.find(600))).ticks
    assert (one.outputs is not None) is tells_outputs


def test_block_has_at_most_a_hundred_entries():
    ring = ring_with(range(1, 251), blocks=5)
    found = [unpack(block(ring, ring.find(tick))) for tick in (1, 101, 201)]
    assert [(one.first_tick, one.last_tick) for one in found] == [(1, 100), (101, 200), (201, 250)]


@pytest.mark.parametrize(("last", "ticks"), [(34, [1, 2, 3, 4]), (35, [1, 2, 3])])
def test_block_is_filled_to_its_last_byte(last, ticks):
    """Head 12, first entry 4, two with 80 bytes of commands 82 each: 36 are left."""
    ring = BlockRing(3, 1)
    take(ring, [1])
    take(ring, [2, 3], commands=bytes(80))
    take(ring, [4], commands=bytes(last))
    index = ring.find(1)
    assert [one.tick for one in unpack(block(ring, index)).ticks] == ticks
    assert len(block(ring, index)) == (216 if last == 34 else 180)
    assert ring.last_tick(ring.find(4)) == 4


def test_tick_of_another_step_is_left_out():
    ring = ring_with([9, 10, 11, 20, 31], step=10)
    assert [one.tick for one in unpack(block(ring, ring.find(1))).ticks] == [10, 20]


def test_gap_begins_a_block_and_the_crc_anew():
    ring = ring_with([5, 6, 20])
    assert [ring.last_tick(ring.find(tick)) for tick in (1, 6, 7, 20)] == [6, 6, 20, 20]
    told = unpack(block(ring, ring.find(20)))
    assert told.check == crc32(packed_record(20), 0) and told.ticks[0].fresh_channels == 0
    assert ring.find(21) == -1


# Which block is the oldest; `oldest_tick` is what will still be kept after the next block.


@pytest.mark.parametrize(
    ("newest", "oldest", "first_kept"),
    [(1, 1, 1), (100, 1, 1), (101, 1, 1), (200, 1, 1), (201, 101, 1), (300, 101, 1),
     (301, 201, 101), (400, 201, 101), (401, 301, 201), (750, 601, 501)],
)  # fmt: skip
def test_ring_of_three_blocks(newest, oldest, first_kept):
    ring = ring_with(range(1, newest + 1))
    assert ring.oldest_tick() == oldest
    kept, tick = [], 0
    while (index := ring.find(tick)) >= 0:
        kept += [one.tick for one in unpack(block(ring, index)).ticks]
        tick = ring.last_tick(index) + 1
    assert kept == list(range(first_kept, newest + 1))


def test_ring_of_one_block():
    ring = ring_with(range(1, 101), blocks=1)
    assert ring.oldest_tick() == 1 and ring.last_tick(ring.find(1)) == 100
    take(ring, [101])
    assert (ring.oldest_tick(), ring.find(101), ring.find(102)) == (101, 0, -1)


def test_ring_of_more_than_a_piece_of_memory():
    ring = ring_with(range(1, 1051), blocks=12)
    found = [unpack(block(ring, ring.find(tick))).first_tick for tick in range(1, 1051, 100)]
    assert found == list(range(1, 1051, 100))
