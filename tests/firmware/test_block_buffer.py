"""A block that comes and goes in parts: what fits, what is whole, what is read back."""

import pytest

from emberbed_fw.block_buffer import BlockBuffer

BLOCK = bytes(range(1, 11))


def filled(most=10, block=BLOCK[:6]):
    buffer = BlockBuffer(most)
    assert buffer.write(0, block, 0, len(block))
    return buffer


def test_it_begins_empty():
    buffer = BlockBuffer(10)
    assert bytes(buffer.view()) == b"" and buffer.whole(0) == b"" and buffer.whole(1) is None
    assert buffer.read(0, 10) == b""


def test_parts_follow_each_other():
    buffer = filled()
    assert buffer.write(6, BLOCK, 6, 4)
    assert bytes(buffer.view()) == BLOCK == buffer.whole(10)


def test_parts_are_taken_from_their_place_in_a_frame():
    buffer = BlockBuffer(10)
    assert buffer.write(0, b"\xaa\xbb" + BLOCK + b"\xcc", 2, 10)
    assert bytes(buffer.view()) == BLOCK


@pytest.mark.parametrize("count", [0, 1, 4])
def test_a_hole_is_refused(count):
    buffer = filled()
    assert not buffer.write(7, BLOCK, 0, count)
    assert bytes(buffer.view()) == BLOCK[:6]


def test_a_part_may_come_twice():
    buffer = filled()
    assert buffer.write(2, b"\xee\xee", 0, 2)
    assert bytes(buffer.view()) == b"\x01\x02\xee\xee\x05\x06", "and nothing after it is lost"


def test_the_first_part_starts_anew():
    buffer = filled()
    assert buffer.write(0, b"\xee", 0, 1)
    assert bytes(buffer.view()) == b"\xee"
    assert not buffer.write(2, b"\xee", 0, 1)


def test_a_first_part_that_does_not_fit_starts_anew_all_the_same():
    buffer = filled()
    assert not buffer.write(0, bytes(20), 0, 11)
    assert bytes(buffer.view()) == b""


def test_the_second_octet_starts_nothing_anew():
    buffer = filled()
    assert buffer.write(1, b"\xee", 0, 1)
    assert bytes(buffer.view()) == b"\x01\xee\x03\x04\x05\x06"


@pytest.mark.parametrize(("count", "fits"), [(4, True), (5, False)])
def test_nothing_goes_beyond_the_end(count, fits):
    buffer = filled()
    assert buffer.write(6, BLOCK, 0, count) is fits
    assert len(buffer.view()) == (10 if fits else 6)


def test_it_is_whole_with_exactly_its_length():
    buffer = filled()
    assert buffer.whole(6) == BLOCK[:6]
    assert buffer.whole(5) is None and buffer.whole(7) is None


def test_a_whole_block_takes_the_place_of_the_one_before():
    buffer = filled()
    buffer.fill(b"\x77\x78")
    assert bytes(buffer.view()) == b"\x77\x78" == buffer.whole(2)
    buffer.fill(BLOCK)
    assert buffer.whole(10) == BLOCK


@pytest.mark.parametrize(
    ("offset", "count", "given"),
    [(0, 3, BLOCK[:3]), (2, 3, BLOCK[2:5]), (4, 9, BLOCK[4:6]), (6, 1, b""), (9, 3, b"")],
)
def test_what_is_read_ends_where_it_ends(offset, count, given):
    assert filled().read(offset, count) == given


@pytest.mark.parametrize(
    ("length", "room"), [(1, 512), (512, 512), (513, 1024), (1024, 1024), (1025, 1100)]
)
def test_memory_is_taken_in_steps_up_to_the_most_and_kept(length, room):
    buffer = BlockBuffer(1100)
    assert len(buffer._octets) == 0
    assert buffer.write(0, bytes(length), 0, length)
    assert len(buffer._octets) == room
    assert buffer.write(0, b"\1", 0, 1)
    assert len(buffer._octets) == room and bytes(buffer.view()) == b"\1"


def test_a_whole_block_takes_no_memory_until_a_part_is_written():
    buffer = BlockBuffer(1100)
    buffer.fill(BLOCK)
    assert buffer._octets is BLOCK
    assert buffer.write(2, b"\xee", 0, 1)
    assert bytes(buffer.view()) == BLOCK[:2] + b"\xee" + BLOCK[3:]
    assert bytes(range(1, 11)) == BLOCK and len(buffer._octets) == 10
    buffer.fill(BLOCK)
    assert buffer.write(10, b"\xee", 0, 1) and bytes(buffer.view()) == BLOCK + b"\xee"
    buffer.fill(BLOCK)
    assert buffer.write(0, b"\xee", 0, 1) and bytes(buffer.view()) == b"\xee"


def test_memory_grows_under_a_block_that_comes():
    buffer = BlockBuffer(1100)
    block = bytes(range(1, 111)) * 10
    for at in range(0, 1100, 100):
        assert buffer.write(at, block, at, 100)
    assert bytes(buffer.view()) == block and len(buffer._octets) == 1100


def test_a_refused_part_takes_no_memory():
    buffer = BlockBuffer(1100)
    assert not buffer.write(0, bytes(1200), 0, 1101)
    assert len(buffer._octets) == 0
