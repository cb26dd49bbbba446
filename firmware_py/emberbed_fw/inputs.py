"""What the device port saw for one tick: filled by it, read by the tick, kept in its record."""

from emberbed_fw.units import CHANNELS, WORD_BYTES


class Inputs:
    def __init__(self):
        self.elapsed_ms = 0
        self.port_flags = 0
        self.fresh_channels = 0
        self.words = bytearray(CHANNELS * WORD_BYTES)
