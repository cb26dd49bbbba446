"""NTC thermistor at an analogue input: the share of the supply as a channel's first two bytes."""

from emberbed_fw.units import WORD_BYTES


class Ntc:
    def __init__(self, adc):
        self._adc = adc

    def read(self, words, channel):
        ratio = max(self._adc.read_u16(), 1)  # four bytes of 0 would be a dead bus
        at = channel * WORD_BYTES
        words[at] = ratio >> 8
        words[at + 1] = ratio & 0xFF
        words[at + 2] = 0
        words[at + 3] = 0
        return True
