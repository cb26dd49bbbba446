"""Counts heat that doubted readings keep away, now for one reason, now for another.

Each reason has a time of its own after which it trips, and excuses the others: a contact that is
now there and now not could go on for ever. `step` once a tick; `overdue` tells whether it is
enough. Serves hazard H02.
"""

from emberbed_fw.safety_limits import BAD_READING_TICKS, DOUBT_TICKS


class DoubtCount:
    STATE = ("ticks",)

    def __init__(self):
        self.forget()

    def forget(self):
        self.ticks = 0  # in doubt, less those in which not

    def step(self, bad_reading, doubted):
        """Take one tick. bad_reading: one cannot be used at all; doubted: one is not believed."""
        if bad_reading:
            self.ticks = min(self.ticks + BAD_READING_TICKS, DOUBT_TICKS)
        elif doubted:
            self.ticks = min(self.ticks + 1, DOUBT_TICKS)
        elif self.ticks > 0:
            self.ticks -= 1

    def overdue(self):
        return self.ticks >= DOUBT_TICKS
