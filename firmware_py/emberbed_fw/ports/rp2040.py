"""Device port on RP2040 and RP2350: names their buses, hands over `machine` objects.

The link is the chip's own USB or a UART. `serve` is called by start_up with what is installed.
"""

import sys

import machine

from emberbed_fw.drivers.spi_bus import BAUD, SpiBus
from emberbed_fw.main_loop import start
from emberbed_fw.ports.board import Board
from emberbed_fw.ports.chip_rp2 import Chip
from emberbed_fw.ports.chip_rp2_pins import i2c_number, spi_number, uart_number
from emberbed_fw.ports.controller import ControllerPort
from emberbed_fw.ports.outputs import Outputs
from emberbed_fw.ports.screen import open_screen
from emberbed_fw.ports.senses import Senses
from emberbed_fw.ports.wiring import LINK_UART, NO_PIN, Wiring
from emberbed_fw.settings_store import load_settings

UART_BYTES = 1024


def make_port(installed):
    """Return the device port; ValueError for a wiring that is not good, with no pin set."""
    wiring = Wiring(installed.wiring())
    outputs = Outputs(wiring)
    chip = Chip(wiring.board)
    board = Board(chip, *_streams(wiring))
    sck = wiring.pin("sck")
    bus = SpiBus(machine.SPI(
        spi_number(sck), baudrate=BAUD, sck=machine.Pin(sck), mosi=machine.Pin(wiring.pin("mosi")),
        miso=machine.Pin(wiring.pin("miso")),
    ))
    port = ControllerPort(board, chip, wiring, outputs, Senses(wiring), bus, installed,
                          open_screen(_i2c(wiring), wiring.display_rows))
    port.use(load_settings(port))
    return port


def _streams(wiring):
    if wiring.link != LINK_UART:
        return sys.stdin.buffer, sys.stdout.buffer
    tx = wiring.pin("tx")
    uart = machine.UART(
        uart_number(tx), baudrate=wiring.baud, tx=machine.Pin(tx),
        rx=machine.Pin(wiring.pin("rx")), rxbuf=UART_BYTES, txbuf=UART_BYTES, timeout=0,
    )
    return uart, uart


def _i2c(wiring):
    sda = wiring.pin("sda")
    if sda == NO_PIN:
        return None
    return machine.I2C(i2c_number(sda), sda=machine.Pin(sda), scl=machine.Pin(wiring.pin("scl")),
                       freq=400000)


def serve(installed):
    """Run the device until it is reset."""
    start(make_port(installed))
