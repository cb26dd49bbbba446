"""Device port of every controller board: converters, senses, outputs, wire, 100 ms ticks.

Takes a Board, the wiring, the SPI bus and what is installed (start_up.Installed). The chip's own
file (rp2040, esp32) names its buses and hands them over. Outputs are off before anything else is
touched. A tick that comes more than LATE_MS late is never made up: the next one is 100 ms later.
"""

import gc
import time

import micropython

from emberbed_fw import record
from emberbed_fw.device_port import TICK, WIRE
from emberbed_fw.messages import ENTRY_HEATS
from emberbed_fw.ports.wiring import NO_PIN
from emberbed_fw.settings import (
    CONVERTER_MAX6675,
    CONVERTER_MAX31855K,
    CONVERTER_MAX31856,
    CONVERTER_THERMISTOR,
    Settings,
    settings_fit,
)
from emberbed_fw.units import CHANNELS, TICK_MS

LATE_MS = 20
POWER_UP_MS = 250  # a MAX31855 has its first word 200 ms after its supply is there
LOW_HEAP_BYTES = 4096


class ControllerPort:
    """`outputs` and `senses` are those of ports/, `chip` gives `select_pin(n)` and `adc(n)`."""

    def __init__(self, board, chip, wiring, outputs, senses, bus, installed, screen=None):
        self._outputs = outputs
        self.all_off = outputs.all_off
        self.drive = outputs.drive
        outputs.all_off()
        micropython.kbd_intr(-1)  # a byte of 3 on the wire is data
        self._board = board
        self._senses = senses
        self._installed = installed
        self.screen = screen
        self.settings_block = installed.settings_block
        self.read_slot = installed.read_slot
        self.read_plan = installed.read_plan
        self.build_id = installed.build_id
        self.note_service = installed.note_service
        self.confirm = installed.confirm
        self.nonce = board.nonce
        self.feed = board.feed
        self.keep = board.keep
        self.kept = board.kept
        self.reset_cause = board.reset_cause
        self.received = board.wire.received
        self.send = board.wire.send
        self.count = 0
        self._drivers = []  # (channel, driver)
        self._chip = chip
        self._wiring = wiring
        self._bus = bus
        self._bus_failed = False
        time.sleep_ms(POWER_UP_MS)
        self._last_ms = board.clock_ms()
        self._due_ms = time.ticks_add(self._last_ms, TICK_MS)

    def use(self, block):
        """Make the drivers that a description asks for; one that does not fit has none."""
        if not settings_fit(block):
            return
        settings = Settings(block)
        for channel in range(CHANNELS):
            pin = self._wiring.channel_pins[channel]
            if settings.channel_fitted(channel) and pin != NO_PIN:
                kind, options = settings.converter[channel], settings.options[channel]
                self._drivers.append((channel, self._driver(kind, options, pin)))

    def _driver(self, kind, options, pin):
        """Return the driver of a channel; only those that are fitted take memory."""
        if kind == CONVERTER_THERMISTOR:
            from emberbed_fw.drivers.ntc import Ntc

            return Ntc(self._chip.adc(pin))
        select = self._chip.select_pin(pin)
        if kind == CONVERTER_MAX31855K:
            from emberbed_fw.drivers.max31855 import Max31855

            return Max31855(self._bus, select)
        if kind == CONVERTER_MAX6675:
            from emberbed_fw.drivers.max6675 import Max6675

            return Max6675(self._bus, select)
        assert kind == CONVERTER_MAX31856
        from emberbed_fw.drivers.max31856 import Max31856

        return Max31856(self._bus, select, options)

    def identity(self):
        return ENTRY_HEATS, self._board.board_number()

    def write_slot(self, slot, octets):
        self.feed()  # a few sectors, of some hundred ms at worst, then the watchdog's whole time
        self._installed.write_slot(slot, octets)
        self.feed()

    def write_plan(self, octets):
        self.feed()
        self._installed.write_plan(octets)
        self.feed()

    def restart(self):
        self._outputs.all_off()
        self._board.reset()

    def wait(self):
        wire = self._board.wire
        wire.move_until(self._due_ms)
        self.count = wire.count
        now_ms = self._board.clock_ms()
        if time.ticks_diff(now_ms, self._due_ms) < 0:
            return WIRE
        late = time.ticks_diff(now_ms, self._due_ms) > LATE_MS
        self._due_ms = time.ticks_add(now_ms if late else self._due_ms, TICK_MS)
        return TICK

    def sample(self, inputs):
        now_ms = self._board.clock_ms()
        inputs.elapsed_ms = min(time.ticks_diff(now_ms, self._last_ms), 0xFFFF)
        self._last_ms = now_ms
        inputs.fresh_channels = self._read_converters(inputs.words)
        flags = self._senses.flags()
        if self._bus_failed:
            flags |= record.PORT_BUS_ERROR
        if gc.mem_free() < LOW_HEAP_BYTES:
            flags |= record.PORT_HEAP_LOW
        inputs.port_flags = flags

    def _read_converters(self, words):
        """Return the channels whose bytes are their newest conversion."""
        fresh = 0
        self._bus_failed = False
        for channel, driver in self._drivers:
            try:
                if driver.read(words, channel):
                    fresh |= 1 << channel
            except OSError:
                self._bus_failed = True
        return fresh

    def turn(self, owed):
        """Nothing is owed to a clock that nobody can stop."""
