"""Two slots: whatever a power cut leaves of a write, the device finds a whole description."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw.settings_store import (
    SLOT_BYTES,
    load_settings,
    newest_slot,
    store_settings,
)
from tests.support.plans import bench_settings

FACTORY = bench_settings(zones=((800, 3),))
FIRST = bench_settings(zones=((1000, 3),))
SECOND = bench_settings(zones=((1200, 3),))


class PowerCut(Exception):
    pass


class Flash:
    """Two sectors: a write erases first, and may be cut off after some bytes."""

    def __init__(self):
        self.slots = [b"\xff" * SLOT_BYTES, b"\xff" * SLOT_BYTES]
        self.cut_after = None
        self.worn = False

    def settings_block(self):
        return FACTORY

    def read_slot(self, slot):
        return self.slots[slot]

    def write_slot(self, slot, octets):
        written = len(octets) if self.cut_after is None else self.cut_after
        kept = octets[:written] + b"\xff" * (SLOT_BYTES - written)
        self.slots[slot] = kept[:-1] + b"\x00" if self.worn else kept
        if self.cut_after is not None:
            raise PowerCut


def test_an_empty_store_gives_the_ports_own():
    assert load_settings(Flash()) == FACTORY
    assert newest_slot(Flash()) == -1


@pytest.mark.parametrize("octets", [b"", b"\xff" * 3, bytes(SLOT_BYTES + 1)])
def test_a_slot_of_another_length_is_not_good(octets):
    flash = Flash()
    flash.slots = [octets, octets]
    assert newest_slot(flash) == -1 and load_settings(flash) == FACTORY
    assert store_settings(flash, FIRST) and load_settings(flash) == FIRST


def test_the_newest_counts_write_after_write():
    flash = Flash()
    for turn in range(5):
        block = FIRST if turn % 2 else SECOND
        assert store_settings(flash, block)
        assert load_settings(flash) == block
    assert newest_slot(flash) == 0


@pytest.mark.parametrize("cut_after", range(SLOT_BYTES))
def test_cut_off_at_any_byte_the_old_one_is_whole(cut_after):
    flash = Flash()
    assert store_settings(flash, FIRST)
    flash.cut_after = cut_after
    with pytest.raises(PowerCut):
        store_settings(flash, SECOND)
    assert load_settings(flash) == FIRST
    flash.cut_after = None
    assert store_settings(flash, SECOND)
    assert load_settings(flash) == SECOND


def test_a_worn_cell_is_told():
    flash = Flash()
    assert store_settings(flash, FIRST)
    flash.worn = True
    assert not store_settings(flash, SECOND)
    assert load_settings(flash) == FIRST


def test_what_does_not_fit_is_not_written():
    flash = Flash()
    assert not store_settings(flash, FIRST[:-1])
    assert not store_settings(flash, FIRST[:-1] + bytes([FIRST[-1] ^ 1]))
    assert newest_slot(flash) == -1


def test_numbers_go_round():
    flash = Flash()
    assert store_settings(flash, FIRST)
    flash.slots[0] = numbered(FIRST, 0xFFFF)
    assert store_settings(flash, SECOND)
    assert load_settings(flash) == SECOND


def numbered(block, number):
    import struct
    from zlib import crc32

    octets = struct.pack("<H", number) + block
    return octets + struct.pack("<I", crc32(octets))


@given(at=st.integers(0, SLOT_BYTES - 1), bit=st.integers(0, 7))
def test_a_flipped_bit_falls_back_to_the_other_slot(at, bit):
    flash = Flash()
    assert store_settings(flash, FIRST)
    assert store_settings(flash, SECOND)
    spoilt = bytearray(flash.slots[1])
    spoilt[at] ^= 1 << bit
    flash.slots[1] = bytes(spoilt)
    assert load_settings(flash) == FIRST
