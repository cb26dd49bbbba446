"""The button (or foot switch): released, then held; or a short press.

Takes one sample a tick. `held` is true once per press, when the button has been seen released for
PRESS_RELEASED_TICKS and then held for PRESS_HELD_TICKS: a stuck button can start nothing. `tapped`
is true for the one tick in which a shorter press ends. Serves hazard H07.
"""

from emberbed_fw.safety_limits import PRESS_HELD_TICKS, PRESS_RELEASED_TICKS


class Button:
    STATE = ("_released_ticks", "_down_ticks", "_ready", "held", "tapped")

    def __init__(self):
        self.held = 0
        self.tapped = 0
        self.forget()

    def forget(self):
        """Ask for a new release before anything counts."""
        self._released_ticks = 0
        self._down_ticks = 0
        self._ready = 0
        self.held = 0
        self.tapped = 0

    def is_ready(self):
        """Tell whether the button was seen released long enough."""
        return self._ready == 1

    def update(self, down):
        self.held = 0
        self.tapped = 0
        if down:
            self._released_ticks = 0
            self._down_ticks = min(self._down_ticks + 1, PRESS_HELD_TICKS + 1)
            if self._ready and self._down_ticks == PRESS_HELD_TICKS:
                self.held = 1
            return
        if self._ready and 0 < self._down_ticks < PRESS_HELD_TICKS:
            self.tapped = 1
        self._down_ticks = 0
        self._released_ticks = min(self._released_ticks + 1, PRESS_RELEASED_TICKS)
        self._ready = 1 if self._released_ticks == PRESS_RELEASED_TICKS else 0
