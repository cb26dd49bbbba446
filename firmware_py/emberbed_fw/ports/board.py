"""A controller board without its pins: clock, wire, watchdog, what outlives a reset.

Shared by every port on such a board. `chip` is the small file of its family (chip_rp2, chip_esp32):
`keep_number(n)` and `kept_number()` for 30 bits that outlive a reset without power loss,
`caused_by_watchdog()`. The watchdog starts with the first `feed`: nothing is driven before, and
start-up may last as it will. The kept number carries a check, the trip code, and whether the reset
was asked for: on some chips a commanded reset looks like the watchdog's.
"""

import time

import machine

from emberbed_fw.device_port import (
    RESET_COMMANDED,
    RESET_POWER,
    RESET_WATCHDOG,
)
from emberbed_fw.messages import BOARD_NUMBER_BYTES
from emberbed_fw.ports.wire import Wire

WATCHDOG_MS = 1500  # 1 to 2 s; a flash sector takes a few hundred
MARK = 0x2E << 24  # a kept number is MARK, commanded bit, code, its complement
COMMANDED = 1 << 16
MOST_NONCE = 0x3FFFFFFF


class Board:
    def __init__(self, chip, source, sink):
        self._chip = chip
        self._watchdog = None
        self.wire = Wire(source, sink)
        number = chip.kept_number()
        self._kept = _code_of(number)
        self._cause = RESET_POWER
        if self._kept is None:
            self._kept = 0
        elif number & COMMANDED:
            self._cause = RESET_COMMANDED
        elif chip.caused_by_watchdog():
            self._cause = RESET_WATCHDOG
        self._chip.keep_number(_number_of(self._kept, 0))
        self._nonce = _nonce_of(machine.unique_id(), time.ticks_us())

    def clock_ms(self):
        return time.ticks_ms()

    def nonce(self):
        return self._nonce

    def board_number(self):
        """Return the chip's own number in 8 bytes, its end where it is longer."""
        number = machine.unique_id()[-BOARD_NUMBER_BYTES:]
        return bytes(BOARD_NUMBER_BYTES - len(number)) + bytes(number)

    def feed(self):
        if self._watchdog is None:
            self._watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self._watchdog.feed()

    def keep(self, code):
        """Let a trip's code outlive a reset."""
        self._chip.keep_number(_number_of(code, 0))

    def kept(self):
        """Return the trip code that was kept before this start, 0 for none."""
        return self._kept

    def reset_cause(self):
        """Return why the controller started (device_port.RESET_*)."""
        return self._cause

    def reset(self):
        """Start the controller anew, on purpose."""
        code = _code_of(self._chip.kept_number())
        self._chip.keep_number(_number_of(code or 0, COMMANDED))
        machine.reset()


def _number_of(code, commanded):
    return MARK | commanded | code << 8 | (code ^ 0xFF)


def _code_of(number):
    """Return the trip code in a kept number, None where memory held something else."""
    code = number >> 8 & 0xFF
    good = number & ~(COMMANDED | 0xFFFF) == MARK and number & 0xFF == code ^ 0xFF
    return code if good else None


def _nonce_of(unique_id, ticks_us):
    """Return a number of at most 30 bits that differs after each start, by the time it took."""
    mixed = ticks_us & MOST_NONCE
    for octet in unique_id:
        mixed = (mixed * 31 + octet) & MOST_NONCE
    return mixed
