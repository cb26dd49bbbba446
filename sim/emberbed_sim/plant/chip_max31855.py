"""MAX31855K at its pins, as its datasheet (rev 5) has it.

Mode 0. Converts on its own, at most every 100 ms; the first word is there 200 ms after power-up,
until then all bits are 0 (both from memory). Selected, it finishes nothing.
"""

from emberbed_sim.plant.converter import (
    OPEN_CIRCUIT,
    SHORT_TO_GROUND,
    SHORT_TO_SUPPLY,
    chip_c,
    pack_word,
)
from emberbed_sim.plant.spi_chip import ShiftOut

POWER_UP_MS = 200.0
CONVERSION_MS = 100.0


class Max31855Chip(ShiftOut):
    BITS = 32

    def __init__(self) -> None:
        super().__init__()
        self._left_ms = POWER_UP_MS

    def pass_ms(self, elapsed_ms: float) -> None:
        self._left_ms -= elapsed_ms
        if self._left_ms <= 0 and not self.selected:
            self.word = self._converted()
            self._left_ms = CONVERSION_MS + self._left_ms % -CONVERSION_MS

    def _converted(self) -> int:
        felt = self.felt
        bits = OPEN_CIRCUIT if felt.is_open else 0
        bits |= SHORT_TO_GROUND if felt.to_ground else 0
        bits |= SHORT_TO_SUPPLY if felt.to_supply else 0
        read_c = 0.0 if felt.is_open else chip_c(felt.emf_mv, felt.cold_c)
        return pack_word(read_c, felt.cold_c, bits)
