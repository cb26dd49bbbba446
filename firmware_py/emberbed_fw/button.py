"""The button (or foot switch): released, then held; or a short press.

Takes one sample a tick. `held` is true once per press, when the button has been seen released for
PRESS_RELEASED_TICKS and then held for PRESS_HELD_TICKS: a stuck button can start nothing. `tapped`
is true for the one tick in which a shorter press ends; `taps` is how many there were, once no other
has followed for MORE_TAPS_TICKS. Serves hazard H07.
"""

from emberbed_fw.safety_limits import PRESS_HELD_TICKS, PRESS_RELEASED_TICKS

MORE_TAPS_TICKS = 6


class Button:
    STATE = ("_released_ticks", "_down_ticks", "_ready", "held", "tapped", "taps", "_tap_count",
             "_tap_ticks")

    def __init__(self):
        self.forget()

    def forget(self):
        """Ask for a new release before anything counts."""
        self._released_ticks = 0
        self._down_ticks = 0
        self._ready = 0
        self.held = 0
        self.tapped = 0
        self.forget_taps()

    def forget_taps(self):
        """Begin to count taps anew: the last one has been understood."""
        self.taps = 0
        self._tap_count = 0
        self._tap_ticks = 0

    def is_ready(self):
        """Tell whether the button was seen released long enough."""
        return self._ready == 1

    def update(self, down):
        self.held = 0
        self.tapped = 0
        self._count_taps(down)
        if down:
            self._released_ticks = 0
            self._down_ticks = min(self._down_ticks + 1, PRESS_HELD_TICKS + 1)
            if self._ready and self._down_ticks == PRESS_HELD_TICKS:
                self.held = 1
            return
        if self._ready and 0 < self._down_ticks < PRESS_HELD_TICKS:
            self.tapped = 1
            self._tap_count += 1
            self._tap_ticks = 0
        self._down_ticks = 0
        self._released_ticks = min(self._released_ticks + 1, PRESS_RELEASED_TICKS)
        self._ready = 1 if self._released_ticks == PRESS_RELEASED_TICKS else 0

    def _count_taps(self, down):
        """Close the count when no other tap has begun for a while."""
        self.taps = 0
        if self._tap_count == 0 or down or self._down_ticks:
            return  # the press that is on, or has just ended, may be the next tap
        self._tap_ticks += 1
        if self._tap_ticks >= MORE_TAPS_TICKS:
            self.taps = self._tap_count
            self._tap_count = 0
