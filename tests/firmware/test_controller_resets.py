"""What outlives a controller board's reset, and wiring that is damaged."""

import pytest

from emberbed_fw import record, trip_codes
from emberbed_fw.device_port import RESET_COMMANDED, RESET_POWER, RESET_WATCHDOG
from emberbed_fw.ports import wiring as pins
from tests.support.controller_ports import BOARDS, CHANNEL_PINS, wiring_of
from tests.support.pin_board import BY_WATCHDOG, POWER_UP, BoardEnded

# What outlives a reset.


@pytest.mark.parametrize("chip", BOARDS)
def test_kept_code_outlives_a_reset_by_the_watchdog(on_pins, chip):
    bench = on_pins(chip)
    assert bench.board.booted == (RESET_POWER, 0)
    bench.tick(3)
    bench.board.kept_number = kept_number(trip_codes.OVER_TEMPERATURE)
    bench.board.start_anew(BY_WATCHDOG)
    assert bench.board.booted == (RESET_WATCHDOG, trip_codes.OVER_TEMPERATURE)


@pytest.mark.parametrize("chip", BOARDS)
def test_memory_that_holds_anything_else_tells_of_no_trip(on_pins, chip):
    bench = on_pins(chip)
    for number in (0, 0xFFFFFFFF, 0x2E0007F9, kept_number(7) ^ 1, kept_number(7) ^ 0x100):
        bench.board.kept_number = number
        bench.board.start_anew(BY_WATCHDOG)
        assert bench.board.booted == (RESET_POWER, 0), hex(number)


def test_trip_is_kept_when_it_happens(on_pins):
    bench = on_pins()
    bench.tick(10)
    bench.sensed = record.PORT_HEAT_CURRENT  # nobody asked for any
    bench.tick(10)
    bench.board.start_anew(BY_WATCHDOG)
    assert bench.board.booted == (RESET_WATCHDOG, trip_codes.HEAT_UNCOMMANDED)


def test_commanded_reset_is_told_apart_from_the_watchdogs(on_pins):
    bench = on_pins()
    bench.board.kept_number = kept_number(0) | 1 << 16
    bench.board.start_anew(BY_WATCHDOG)
    assert bench.board.booted == (RESET_COMMANDED, 0)
    bench.board.start_anew(BY_WATCHDOG)  # and the next one is the watchdog's again
    assert bench.board.booted == (RESET_WATCHDOG, 0)


def kept_number(code):
    return 0x2E << 24 | code << 8 | code ^ 0xFF


# Wiring that is not good.


def damaged(block):
    return block[:-5] + bytes((block[-5] ^ 1,)) + block[-4:]


@pytest.mark.parametrize("damage", [damaged, lambda block: block[:-1], lambda _block: b""])
def test_damaged_wiring_sets_no_pin(on_pins, tmp_path, damage):
    bench = on_pins()
    good = wiring_of("rp2040", CHANNEL_PINS["rp2040"])
    (tmp_path / "0" / "by-hand" / "wiring").write_bytes(damage(good))
    with pytest.raises(BoardEnded, match="wiring refused"):
        bench.board.start_anew(POWER_UP)
    assert bench.board.history == []


def test_no_single_flipped_bit_of_a_wiring_passes():
    good = wiring_of("rp2040", CHANNEL_PINS["rp2040"])
    assert pins.find_wiring_fault(good) is None
    for at in range(len(good)):
        for bit in range(8):
            flipped = bytearray(good)
            flipped[at] ^= 1 << bit
            assert pins.find_wiring_fault(bytes(flipped)) is not None


def test_wiring_that_uses_a_pin_twice_is_refused_by_the_device_too():
    twice = wiring_of("rp2040", [6, 7, 8], zone_pins=(8,))
    assert pins.find_wiring_fault(twice) == "it uses a pin twice"
