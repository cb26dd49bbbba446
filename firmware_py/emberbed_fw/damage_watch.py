"""Counts damaged frames: too many within any minute make the link bad until a minute is clean."""

from emberbed_fw.messages import MAX_DAMAGED_PER_MIN
from emberbed_fw.units import TICKS_PER_MIN


class DamageWatch:
    def __init__(self):
        self._ticks = [-TICKS_PER_MIN] * (MAX_DAMAGED_PER_MIN + 1)  # of the last damaged frames
        self._at = 0
        self._counted = 0
        self._clean_ticks = TICKS_PER_MIN

    def is_bad(self):
        return self._clean_ticks < TICKS_PER_MIN

    def step(self, tick, damaged_so_far):
        """Take one tick, with the reader's count of damaged frames."""
        damaged = damaged_so_far - self._counted
        self._counted = damaged_so_far
        for _frame in range(min(damaged, len(self._ticks))):
            self._ticks[self._at] = tick
            self._at = (self._at + 1) % len(self._ticks)
        oldest = self._ticks[self._at]
        if damaged and (tick - oldest < TICKS_PER_MIN or self.is_bad()):
            self._clean_ticks = 0
        else:
            self._clean_ticks = min(self._clean_ticks + 1, TICKS_PER_MIN)
