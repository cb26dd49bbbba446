"""Device port on ESP32, ESP32-S3 and ESP32-C3: names their buses, hands over `machine` objects.

The link is the USB of the chip or of the board's serial chip, or a UART of its own. `serve` is
called by start_up with what is installed.
"""

import sys

import machine

from emberbed_fw.drivers.spi_bus import BAUD, SpiBus
from emberbed_fw.main_loop import start
from emberbed_fw.ports.board import Board
from emberbed_fw.ports.chip_esp32 import Chip
from emberbed_fw.ports.controller import ControllerPort
from emberbed_fw.ports.outputs import Outputs
from emberbed_fw.ports.screen import open_screen
from emberbed_fw.ports.senses import Senses
from emberbed_fw.ports.wiring import LINK_UART, NO_PIN, Wiring
from emberbed_fw.settings_store import load_settings

SPI_NUMBER = 1
UART_NUMBER = 1  # 0 is the prompt's
UART_BYTES = 1024


def make_port(installed):
    """Return the device port; ValueError for a wiring that is not good, with no pin set."""
    wiring = Wiring(installed.wiring())
    outputs = Outputs(wiring)
    chip = Chip()
    board = Board(chip, *_streams(wiring))
    bus = SpiBus(machine.SPI(
        SPI_NUMBER, baudrate=BAUD, sck=machine.Pin(wiring.pin("sck")),
        mosi=machine.Pin(wiring.pin("mosi")), miso=machine.Pin(wiring.pin("miso")),
    ))
    port = ControllerPort(board, chip, wiring, outputs, Senses(wiring), bus, installed,
                          open_screen(_i2c(wiring), wiring.display_rows))
    port.use(load_settings(port))
    return port


def _streams(wiring):
    if wiring.link != LINK_UART:
        return sys.stdin.buffer, sys.stdout.buffer
    uart = machine.UART(
        UART_NUMBER, baudrate=wiring.baud, tx=machine.Pin(wiring.pin("tx")),
        rx=machine.Pin(wiring.pin("rx")), rxbuf=UART_BYTES, txbuf=UART_BYTES, timeout=0,
    )
    return uart, uart


def _i2c(wiring):
    if wiring.pin("sda") == NO_PIN:
        return None
    return machine.I2C(0, sda=machine.Pin(wiring.pin("sda")), scl=machine.Pin(wiring.pin("scl")),
                       freq=400000)


def serve(installed):
    """Run the device until it is reset."""
    start(make_port(installed))
