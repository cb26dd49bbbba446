"""A controller board without any pin of the heater: what ports/inject is given on real hardware.

Clock, wire, watchdog and what is installed; no module that drives a pin is even imported.
"""

import time

import micropython


class BareBoard:
    """`board` is a ports.board.Board, `installed` what start_up hands over."""

    def __init__(self, board, installed):
        micropython.kbd_intr(-1)  # a byte of 3 on the wire is data
        self._wire = board.wire
        self._taken = 0  # of what the wire has received
        self.clock_ms = board.clock_ms
        self.reset = board.reset
        self.board_number = board.board_number
        self.nonce = board.nonce
        self.feed = board.feed
        self.keep = board.keep
        self.kept = board.kept
        self.reset_cause = board.reset_cause
        self.settings_block = installed.settings_block
        self.read_slot = installed.read_slot
        self.write_slot = installed.write_slot
        self.build_id = installed.build_id

    def read(self, buffer):
        """Put what has come into `buffer`; return how many bytes."""
        if self._taken == self._wire.count:
            self.rest(1)
        count = min(len(buffer), self._wire.count - self._taken)
        for index in range(count):
            buffer[index] = self._wire.received[self._taken + index]
        self._taken += count
        return count

    def write(self, octets):
        self._wire.send(octets, len(octets))

    def rest(self, milliseconds):
        """Let time pass, less where something comes; bytes go out meanwhile."""
        if self._taken < self._wire.count:
            return
        self._taken = 0
        self._wire.move_until(time.ticks_add(time.ticks_ms(), milliseconds))
