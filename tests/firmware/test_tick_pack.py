"""An entry of the device's memory byte by byte, against bytes put together by hand.

(That the host reads them back: test_block_ring.py.)
"""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw.tick_pack import MOST_ENTRY, TickPacker, put_signed
from tests.support.packed_records import packed_record

FLAGS, FRESH, WORDS, STATUS, OUTPUTS, COMMANDS, SETPOINT = 2, 4, 8, 16, 32, 64, 128
ELAPSED = 1
NOTHING_YET = bytes([FLAGS | FRESH, 0, 0, 0])  # the first entry of a record of noughts
THINNED_NOUGHTS = bytes([FLAGS | FRESH | STATUS | OUTPUTS, 0, 0, 0, 0, 0, 0, 0, 0, 0])


def entry(packer, tick=5, **fields):
    """Return the bytes that a packer makes of a record."""
    raw = packed_record(tick, **fields)
    packer.encode(raw, len(raw))
    return bytes(packer.octets[: packer.length])


def begun(**fields):
    """Return a packer that has had one record."""
    packer = TickPacker(thinned=False)
    entry(packer, **fields)
    return packer


def thinned(**fields):
    packer = TickPacker(thinned=True)
    entry(packer, **fields)
    return packer


def words(*numbers):
    return struct.pack(">8I", *numbers, *[0] * (8 - len(numbers)))


@pytest.mark.parametrize(
    ("number", "octets"),
    [
        (0, "00"), (1, "02"), (-1, "03"), (63, "7e"), (-63, "7f"), (64, "8001"), (-64, "8101"),
        (65, "8201"), (6_000, "e05d"), (8191, "fe7f"), (8192, "808001"), (2**20, "80808001"),
        (2**27, "8080808001"), (2**30 - 1, "feffffff07"), (-(2**30 - 1), "ffffffff07"),
    ],
)  # fmt: skip
def test_number_in_as_few_bytes_as_it_needs(number, octets):
    out = bytearray(b"\xaa" * 8)
    end = put_signed(out, 1, number)
    assert out[1:end].hex() == octets
    assert out[0] == 0xAA and set(out[end:]) == {0xAA}, "nothing around it is touched"


def test_first_entry_stands_by_itself_and_the_next_says_what_differs():
    packer = TickPacker(thinned=False)
    assert packer.length == 0
    assert entry(packer) == NOTHING_YET
    assert entry(packer) == b"\0"
    packer.restart()
    assert entry(packer) == NOTHING_YET


@pytest.mark.parametrize(
    ("elapsed_ms", "octets"),
    [
        (99, "7f"), (101, "81"), (0, "1c"), (226, "fe"), (227, "ff"), (228, "00e400"),
        (256, "000001"), (0x1234, "003412"), (65535, "00ffff"),
    ],
)  # fmt: skip
def test_milliseconds_near_a_tick_are_a_byte(elapsed_ms, octets):
    assert entry(begun(), elapsed_ms=elapsed_ms).hex() == "01" + octets
    assert entry(begun(elapsed_ms=elapsed_ms)).hex() == "00", "each entry says its own"


def test_first_entry_says_flags_and_channels_whatever_they_are():
    for first in (0, 1):
        packer = TickPacker(thinned=False)
        told = bytes([FLAGS | FRESH, first, 0, first])
        assert entry(packer, port_flags=first, fresh_channels=first) == told


def test_port_says_what_has_changed():
    packer = begun(port_flags=0x0102, fresh_channels=3)
    assert entry(packer, port_flags=0x0102, fresh_channels=3) == b"\0"
    assert entry(packer, port_flags=0x0202, fresh_channels=3) == b"\x02\x02\x02"
    assert entry(packer, port_flags=0x0203, fresh_channels=3) == b"\x02\x03\x02"
    assert entry(packer, port_flags=0x0203, fresh_channels=2) == b"\x04\x02"
    assert entry(packer, port_flags=0x0203, fresh_channels=2) == b"\0"
    assert entry(packer, 5, elapsed_ms=98, port_flags=1, fresh_channels=9) == bytes(
        [ELAPSED | FLAGS | FRESH, 126, 1, 0, 9]
    )


@pytest.mark.parametrize(
    ("before", "after", "octets"),
    [
        (0, 0x0004_0010, "0111"),
        (0, 0x001C_0070, "0177"),  # 7 steps each: 1.75 degC, 0.4375 degC
        (0, 0x0020_0000, "01800020"),  # 8 are too many: the half follows
        (0, 0x0000_0080, "01080080"),
        (0, 0x0005_0000, "01800005"),  # not a whole step
        (0, 0x0000_0011, "01080011"),
        (0, 0xABCD_EF01, "0188abcdef01"),
        (0x001C_0070, 0, "0199"),  # seven down
        (0x0020_0000, 0, "01800000"),  # eight down
        (0x0000_0080, 0, "01080000"),
        (0x0100_0100, 0x0104_00F0, "011f"),
        (0x0100_0100, 0x00FC_0110, "01f1"),
        (0x0000_0001, 0x0000_0011, "0101"),  # the step counts, not where it begins
    ],
)
@pytest.mark.parametrize("channel", [0, 1, 7])
def test_word_changes_by_its_two_halves(before, after, octets, channel):
    def at_channel(number):
        return bytes(4 * channel) + struct.pack(">I", number) + bytes(28 - 4 * channel)

    expected = bytes([WORDS, 1 << channel]) + bytes.fromhex(octets)[1:]
    packer = begun(words=at_channel(before))
    assert entry(packer, words=at_channel(after)) == expected
    assert entry(packer, words=at_channel(after)) == b"\0", "it is remembered whole"


@pytest.mark.parametrize("octet", range(32))
def test_no_byte_of_a_word_changes_unseen(octet):
    changed = bytearray(32)
    changed[octet] = 0x40
    assert entry(begun(), words=bytes(changed))[:2] == bytes([WORDS, 1 << octet // 4])


def test_words_of_several_channels_follow_in_order():
    packer = begun(words=words(4 << 16, 8 << 16, 12 << 16))
    assert entry(packer, words=words(8 << 16, 8 << 16, 0x100 << 16)).hex() == "080510800100"


def test_restart_forgets_the_words():
    packer = begun(words=words(0x0190_1900))
    packer.restart()
    assert entry(packer, words=words(0x0190_1900)).hex() == "0e0000000188" + "01901900"


# What was asked of the device.


@pytest.mark.parametrize(("age", "octet"), [(0, 0x80), (1, 0x81), (127, 0xFF)])
def test_one_renewal_is_its_age(age, octet):
    for tick in (0xFF, 0x0102_03FF):
        renewal = struct.pack("<BBI", ms.RENEW, 4, tick - age)
        assert entry(begun(), tick, commands=renewal) == bytes([COMMANDS, octet])


@pytest.mark.parametrize(
    ("tick", "commands"),
    [
        (0xFF, struct.pack("<BBI", ms.RENEW, 4, 0xFF - 128)),  # too old
        (0xFE, struct.pack("<BBI", ms.RENEW, 4, 0xFF)),  # not yet been
        (0x0100, struct.pack("<BBI", ms.RENEW, 4, 0xFF)),  # another byte differs too
        (0x0203_0405, struct.pack("<BBI", ms.RENEW, 4, 0x0203_0504)),
        (0x0203_0405, struct.pack("<BBI", ms.RENEW, 4, 0x0202_0404)),
        (0x0203_0405, struct.pack("<BBI", ms.RENEW, 4, 0x0103_0404)),
        (0xFF, struct.pack("<BBBhB", ms.STAGE_REQUEST, 4, 0xFE, 0, 0)),  # as long
        (0xFF, bytes([ms.STOP, 1, 1])),
        (0xFF, struct.pack("<BBI", ms.RENEW, 4, 0xFE) + bytes([ms.STOP, 1, 1])),
        (0xFF, bytes(range(80))),
    ],
)
def test_anything_else_that_was_asked_is_kept_whole(tick, commands):
    octets = bytes([COMMANDS, len(commands)]) + commands
    assert entry(begun(), tick, commands=commands) == octets


def test_longest_entry_of_every_tick():
    longest = entry(
        TickPacker(thinned=False), elapsed_ms=999, port_flags=0xFFFF, fresh_channels=255,
        words=bytes(range(1, 33)), commands=bytes(80),
    )  # fmt: skip
    # what it has and milliseconds, flags, channels, words, commands
    assert len(longest) == 1 + 3 + 2 + 1 + (1 + 8 * 5) + (1 + 80) == 129


# A thinned entry tells some of what the device did.


def test_thinned_entry_stands_by_itself_and_has_outputs_always():
    packer = TickPacker(thinned=True)
    assert entry(packer) == THINNED_NOUGHTS
    assert entry(packer) == bytes([OUTPUTS, 0, 0])
    packer.restart()
    assert entry(packer) == THINNED_NOUGHTS


def test_thinned_entry_leaves_out_what_was_asked():
    assert entry(thinned(), commands=b"\x08\x01\x01") == bytes([OUTPUTS, 0, 0])


@pytest.mark.parametrize("field", range(4))
def test_status_is_told_whole_when_one_part_changes(field):
    names = ("state", "verdict", "stage", "trip")
    before = dict(zip(names, (1, 2, 3, 4), strict=True))
    after = {**before, names[field]: 9}
    packer = thinned(**before)
    assert entry(packer, **before) == bytes([OUTPUTS, 0, 0])
    told = bytes([OUTPUTS | STATUS, *after.values(), 0, 0])
    assert entry(packer, **after) == told
    assert entry(packer, **after) == bytes([OUTPUTS, 0, 0])


@pytest.mark.parametrize(
    ("demand_q15", "octet"),
    [(0, 0), (127, 0), (128, 1), (0x1234, 0x24), (32767, 255), (32768, 255), (65535, 255)],
)
def test_demand_is_a_byte(demand_q15, octet):
    assert entry(thinned(), demand0_q15=demand_q15) == bytes([OUTPUTS, octet, 0])
    assert entry(thinned(demand0_q15=9999), demand0_q15=demand_q15)[1] == octet


@pytest.mark.parametrize(
    ("before", "after", "octets"),
    [
        (0, 1, "02"), (1000, 1063, "7e"), (1063, 1000, "7f"), (0, 0x0100, "8004"),
        (0, 0x0001_0000, "808008"), (0, 0x0100_0000, "80808010"), (0, 0x2000_0000, "8080808004"),
        (0, 0x4000_0000, "00"), (0, 0x8000_0000, "00"), (0x3FFF_FFFF, 0x3FFF_FFFF, "00"),
    ],
)  # fmt: skip
def test_energy_is_a_difference_of_30_bits(before, after, octets):
    packer = thinned(energy_j=before)
    assert entry(packer, energy_j=after).hex() == "2000" + octets
    assert entry(packer, energy_j=after).hex() == "200000"


@pytest.mark.parametrize(
    ("before", "after", "octets"),
    [
        (0, 1, "02"), (11000, 11063, "7e"), (0, -1, "03"), (100, -100, "9103"),
        (0, 0x0100, "8004"), (0, 0x0001_0000, "808008"), (0, 0x007F_FFFF, "feffff07"),
        (0, -0x0080_0000, "81808008"), (-5, -4, "02"),
    ],
)  # fmt: skip
def test_setpoint_that_changes_is_a_difference(before, after, octets):
    packer = thinned(setpoint_cdeg=before)
    assert entry(packer, setpoint_cdeg=after).hex() == "a00000" + octets
    assert entry(packer, setpoint_cdeg=after).hex() == "200000"


def test_restart_forgets_setpoint_and_energy():
    packer = thinned(setpoint_cdeg=20, energy_j=30)
    packer.restart()
    told = entry(packer, setpoint_cdeg=21, energy_j=31)
    assert told == bytes([FLAGS | FRESH | STATUS | OUTPUTS | SETPOINT, *bytes(8), 62, 42])


def test_everything_in_its_order():
    packer = TickPacker(thinned=True)
    told = entry(
        packer, elapsed_ms=101, port_flags=0x0201, fresh_channels=7, words=words(0x0004_0010),
        state=1, verdict=2, stage=3, trip=4, demand0_q15=5 * 128, energy_j=6, setpoint_cdeg=7,
    )  # fmt: skip
    assert told == bytes([
        ELAPSED | FLAGS | FRESH | WORDS | STATUS | OUTPUTS | SETPOINT,
        129, 1, 2, 7, 1, 0x11, 1, 2, 3, 4, 5, 12, 14,
    ])  # fmt: skip


def test_there_is_room_for_everything_at_once():
    port, eight_words, status = 1 + 3 + 2 + 1, 1 + 8 * 5, 4
    demand, energy, setpoint, commands = 1, 5, 5, 1 + 80
    parts = port + eight_words + status + demand + energy + setpoint + commands
    assert parts == MOST_ENTRY == len(TickPacker(thinned=True).octets)
