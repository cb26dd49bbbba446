"""Sums over the numbers that a run lives by, taken at arming and checked again while it runs.

A flipped bit in a plan, a limit or the settings must not heat a board. A few numbers a tick: the
whole is seen again after 7 s (a usual plan) to 30 s (the longest). The channels' limits also have
complements, one channel's checked in every tick. Serves hazard H04.
"""

from emberbed_fw.units import CHANNELS

NUMBERS_A_TICK = 17
MASK = 0xFFFFFF


class MemoryWatch:
    """Built with a plan, between ticks; `step` once a tick, `changed` latches until `forget`."""

    STATE = ("changed", "_table", "_at", "_sum", "_channel")

    def __init__(self, tables, limits):
        """tables: rows of ints that must stay as they are; limits: those that get complements."""
        self._tables = [table for table in tables if len(table)]
        self._limits = limits
        self._complements = [[~number for number in limit] for limit in limits]
        self._begin()
        while self._table < len(self._tables):
            self._add(NUMBERS_A_TICK)
        self._whole = self._sum
        self.forget()

    def forget(self):
        """Begin anew: at arming. What is wrong by then is found again."""
        self.changed = 0
        self._channel = 0
        self._begin()

    def step(self):
        """Check the next few numbers, and the limits of one channel."""
        self._add(NUMBERS_A_TICK)
        if self._table == len(self._tables):
            if self._sum != self._whole:
                self.changed = 1
            self._begin()
        channel = self._channel
        for row in range(len(self._limits)):
            if self._limits[row][channel] != ~self._complements[row][channel]:
                self.changed = 1
        self._channel = (channel + 1) % CHANNELS

    def _begin(self):
        self._table = 0
        self._at = 0
        self._sum = 1

    def _add(self, count):
        """Add up to `count` numbers of the table it stands in."""
        table = self._tables[self._table]
        at = self._at
        end = min(at + count, len(table))
        total = self._sum
        while at < end:
            number = table[at]
            total = (total * 31 + (number & MASK) + (number >> 24)) & MASK
            at += 1
        self._sum = total
        self._at = at
        if at == len(table):
            self._table += 1
            self._at = 0
