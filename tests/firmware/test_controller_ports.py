"""The controller-board ports in the real MicroPython, on played pins and register-level chips."""

import pytest

from emberbed_fw import record, trip_codes
from emberbed_fw.ports import wiring as pins
from tests.support.controller_ports import BOARDS, CHANNEL_PINS, RP2_PINS, ZONE_PINS, hosted
from tests.support.pin_board import OUT

ZONE_PIN = ZONE_PINS["rp2040"]


@pytest.mark.parametrize("chip", BOARDS)
def test_readings_come_through_pins_chips_and_drivers(on_pins, chip):
    bench = on_pins(chip)
    bench.tick(30)
    host = hosted(bench)
    record_ = host.tick(5)
    beads_c = bench.heater.truth.beads_c
    for channel, within_c in enumerate((0.4, 0.8, 0.6)):
        assert record_.channel_cdeg(channel) / 100 == pytest.approx(beads_c[channel], abs=within_c)
        assert record_.fault(channel) == trip_codes.NO_TRIP
    assert record_.trip == trip_codes.NO_TRIP


def test_outputs_are_off_before_anything_else_is_touched(on_pins):
    board = on_pins().board
    driven = {ZONE_PIN, *(RP2_PINS[role] for role in ("contactor", "fan", "lamp", "buzzer"))}
    first = board.history[: len(driven)]
    assert {numbers[0] for _op, numbers in first} == driven
    # made outputs with their level given: low from the first moment
    assert all(op == "M" and numbers[1] == OUT and numbers[3] == 0 for op, numbers in first)
    assert board.zones == 0 and board.outputs == 0


def test_chip_selects_are_high_from_the_first_moment(on_pins):
    board = on_pins().board
    assert [board.modes[pin] for pin in CHANNEL_PINS["rp2040"]] == [(OUT, 255, 1)] * 3


def test_nothing_is_driven_at_rest(on_pins):
    bench = on_pins()
    bench.tick(50)
    high = [numbers for op, numbers in bench.board.history if op == "O" and numbers[1]]
    assert {pin for pin, _level in high} <= set(CHANNEL_PINS["rp2040"])


@pytest.mark.parametrize(
    ("flag", "name"),
    [
        (record.PORT_BUTTON, "button"), (record.PORT_STOPPED, "stop"),
        (record.PORT_HEAT_CURRENT, "current"), (record.PORT_FAN_TURNS, "tach"),
        (record.PORT_CONTACTOR_CLOSED, "mirror"),
    ],
)  # fmt: skip
def test_every_sense_has_its_bit(on_pins, flag, name):
    bench = on_pins()
    host = hosted(bench)
    assert host.tick(6).port_flags & flag == 0
    bench.sensed = flag
    assert host.tick(3).port_flags == flag, name


def test_voltage_sense_is_read_the_other_way_round(on_pins):
    bench = on_pins(sense_kind=pins.SENSE_VOLTAGE)
    host = hosted(bench)
    assert host.tick(3).port_flags & record.PORT_CONTACTOR_CLOSED == 0
    bench.sensed = record.PORT_CONTACTOR_CLOSED
    assert host.tick(3).port_flags & record.PORT_CONTACTOR_CLOSED


def test_wire_that_is_off_reads_as_closed_contactor_and_unpressed_button(on_pins):
    bench = on_pins()
    host = hosted(bench)
    bench.board._set_inputs = lambda _flags: bench.board.inputs.clear()  # pull-ups alone
    flags = host.tick(3).port_flags
    assert flags & record.PORT_CONTACTOR_CLOSED
    assert not flags & (record.PORT_BUTTON | record.PORT_STOPPED)


def test_watchdog_starts_with_the_first_whole_tick_and_is_fed_by_each(on_pins):
    bench = on_pins()
    assert bench.board.watchdog_ms == 0
    bench.tick(20)
    assert 1000 <= bench.board.watchdog_ms <= 2000
    assert bench.board.fed == 20


def test_chip_that_loses_its_supply_is_named_in_the_record(on_pins):
    bench = on_pins()
    bench.tick(10)
    host = hosted(bench)
    bench.board.lines.chips[6].power_up()
    assert host.tick(1).fault(0) == trip_codes.SENSOR_BUS_DEAD
    assert host.tick(8).fault(0) == trip_codes.NO_TRIP


def test_flood_of_rubbish_delays_no_tick(on_pins):
    bench = on_pins()
    bench.tick(5)
    for _ in range(20):
        bench.tick(1, wire=b"\x03\x00\xff" * 400)
    host = hosted(bench)
    assert host.tick(2).elapsed_ms == 100
