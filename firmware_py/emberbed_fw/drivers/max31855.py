"""MAX31855K: 32 bits out, nothing in. It converts by itself about ten times a second.

`read` puts the chip's word into the channel's four bytes and tells whether they are its newest
conversion. The chip does not change its word while it is selected.
"""

from emberbed_fw.units import WORD_BYTES

PHASE = 0


class Max31855:
    def __init__(self, bus, cs):
        self._bus = bus
        self._cs = cs
        self._word = bytearray(WORD_BYTES)

    def read(self, words, channel):
        self._bus.read(self._cs, PHASE, self._word)
        at = channel * WORD_BYTES
        for index in range(WORD_BYTES):
            words[at + index] = self._word[index]
        return True
