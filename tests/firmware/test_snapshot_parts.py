"""A snapshot in parts: their size, their heads, and one that is too large."""

import struct

import pytest

from emberbed.link.packed import read_numbers
from emberbed_fw import snapshot_parts
from emberbed_fw.frames import MAX_PAYLOAD
from emberbed_fw.snapshot import take_snapshot
from emberbed_fw.snapshot_parts import PART, SNAPSHOT_TICKS, SnapshotParts
from tests.support.bench import Bench

HEAD = struct.Struct(PART)
ROOM = 9 * 200  # bytes of all parts


class Remembers:
    """A machine of one part, which remembers these numbers."""

    def __init__(self, tick, numbers):
        self.tick = tick
        self.numbers = numbers


@pytest.fixture
def taken(monkeypatch):
    """Return how to take a snapshot of any numbers at all."""
    monkeypatch.setattr(snapshot_parts, "numbers_of", lambda machine: machine.numbers)

    def take(numbers, tick=7, parts=None):
        parts = parts or SnapshotParts()
        parts.take(Remembers(tick, numbers))
        return parts

    return take


def all_of(parts):
    """Return the heads and the bytes of every part that is sent."""
    heads, octets = [], []
    out = bytearray(b"\xee" * 300)
    while length := parts.next_into(out, 3):
        assert len(out) == 300
        heads.append(HEAD.unpack_from(out, 3))
        octets.append(bytes(out[3 + HEAD.size : 3 + length]))
        assert len(heads) <= 9 and set(out[3 + length :]) == {0xEE} and out[:3] == b"\xee\xee\xee"
        out[:] = b"\xee" * 300
    return heads, octets


def test_machine_goes_through_its_parts():
    machine = Bench().to_run().machine
    parts = SnapshotParts()
    parts.take(machine)
    heads, octets = all_of(parts)
    assert read_numbers(b"".join(octets)) == take_snapshot(machine)
    assert heads == [(machine.tick, n, len(heads)) for n in range(len(heads))] and len(heads) > 1
    assert {len(part) for part in octets[:-1]} == {200} and 0 < len(octets[-1]) <= 200


def test_no_machine_is_too_large():
    """Not even one whose every number needs five bytes."""
    machine = Bench().to_run().machine
    assert 300 < len(take_snapshot(machine)) <= ROOM // 5


def test_nothing_is_sent_before_one_is_taken_and_each_once(taken):
    assert all_of(SnapshotParts()) == ([], [])
    parts = taken([1])
    assert all_of(parts) == ([(7, 0, 1)], [b"\x02"])
    assert all_of(parts) == ([], [])


@pytest.mark.parametrize(
    ("numbers", "sizes"), [(199, [199]), (200, [200]), (201, [200, 1]), (400, [200] * 2)]
)
def test_parts_are_of_200_bytes(taken, numbers, sizes):
    heads, octets = all_of(taken([1] * numbers, tick=9))
    assert [len(part) for part in octets] == sizes
    assert heads == [(9, n, len(sizes)) for n in range(len(sizes))]


def test_part_fits_a_frame_and_comes_every_five_minutes():
    assert HEAD.size + 200 <= MAX_PAYLOAD
    assert SNAPSHOT_TICKS == 5 * 60 * 10


@pytest.mark.parametrize(("numbers", "fits"), [(ROOM - 4, True), (ROOM - 3, False)])
def test_one_that_may_not_fit_is_not_sent(taken, numbers, fits):
    """The last number has to find room for the five bytes that it may need."""
    heads, octets = all_of(taken([1] * numbers))
    assert sum(map(len, octets)) == (numbers if fits else 0)
    assert len(heads) == (9 if fits else 0)


def test_longest_numbers_fill_it_to_the_last_byte(taken):
    numbers = [2**30 - 1, -(2**30 - 1)] * (ROOM // 10)
    _heads, octets = all_of(taken(numbers))
    assert read_numbers(b"".join(octets)) == numbers and len(b"".join(octets)) == ROOM
    assert all_of(taken([*numbers, 1])) == ([], [])


def test_one_that_does_not_fit_ends_the_one_before(taken):
    parts = taken([1] * 300)
    taken([1] * ROOM, parts=parts)
    assert all_of(parts) == ([], [])


def test_newer_one_begins_anew(taken):
    parts = taken([1] * 300)
    parts.next_into(bytearray(300), 0)
    heads, octets = all_of(taken([2] * 250, tick=8, parts=parts))
    assert heads == [(8, 0, 2), (8, 1, 2)] and b"".join(octets) == b"\x04" * 250
