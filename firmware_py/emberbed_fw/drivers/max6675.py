"""MAX6675: 16 bits out, nothing in. Selecting it breaks off a conversion, and it needs 220 ms.

So `read` touches the chip in every third tick only (300 ms) and leaves the word of the last time in
between; it tells whether the bytes are the chip's newest conversion, which they then are.
"""

from emberbed_fw.units import WORD_BYTES

PHASE = 0
PERIOD_TICKS = 3


class Max6675:
    def __init__(self, bus, cs):
        self._bus = bus
        self._cs = cs
        self._half = bytearray(2)
        self._wait_ticks = PERIOD_TICKS
        self._has_word = False

    def read(self, words, channel):
        self._wait_ticks -= 1
        if self._wait_ticks > 0:
            return self._has_word
        self._wait_ticks = PERIOD_TICKS
        self._has_word = False
        self._bus.read(self._cs, PHASE, self._half)
        at = channel * WORD_BYTES
        words[at] = self._half[0]
        words[at + 1] = self._half[1]
        words[at + 2] = 0
        words[at + 3] = 0
        self._has_word = True
        return True
