"""MAX6675 at its pins, as its datasheet has it.

Mode 0. Select low breaks off a conversion and shows the last word, select high begins a new one,
which takes up to 220 ms: asked more often, the word never changes. Until the first conversion all
bits are 0 (from memory).
"""

from emberbed_sim.plant.converter_words import pack_max6675
from emberbed_sim.plant.spi_chip import ShiftOut

CONVERSION_MS = 220.0
CHIP_MV_PER_C = 0.041


class Max6675Chip(ShiftOut):
    BITS = 16

    def __init__(self) -> None:
        super().__init__()
        self._left_ms = CONVERSION_MS

    def pass_ms(self, elapsed_ms: float) -> None:
        if self.selected or self._left_ms <= 0:
            return
        self._left_ms -= elapsed_ms
        if self._left_ms <= 0:
            felt = self.felt
            read_c = felt.cold_c + felt.emf_mv / CHIP_MV_PER_C
            self.word = pack_max6675(read_c, felt.is_open)
            self._left_ms = CONVERSION_MS + self._left_ms % -CONVERSION_MS

    def _end(self) -> None:
        super()._end()
        self._left_ms = CONVERSION_MS
