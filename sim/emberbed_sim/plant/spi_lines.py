"""The lines of an SPI bus between a controller and its chips: bytes to edges, edges to bytes.

`polarity` and `phase` are the mode's: the clock's idle level, and whether data is read on its
second edge. A controller that uses the wrong mode gets what it would really get. Chips pull one
data line; those that are not selected leave it alone, and the pull-up shows 1.
"""

from collections.abc import Mapping

from emberbed_sim.plant.spi_chip import RELEASED, SpiChip


class SpiLines:
    def __init__(self, chips: Mapping[int, SpiChip]) -> None:
        """chips: by the number of their select pin."""
        self.chips = chips

    def select(self, pin: int, level: int) -> None:
        """Set the level of a select pin; pins without a chip are none of this bus."""
        if pin in self.chips:
            self.chips[pin].select(level)

    def pass_ms(self, elapsed_ms: float) -> None:
        for chip in self.chips.values():
            chip.pass_ms(elapsed_ms)

    def rest_at(self, polarity: int) -> None:
        """Leave the clock at this level, as a bus does once its mode is set."""
        self._clock(polarity, 0)

    def exchange(self, sent: bytes, polarity: int = 0, phase: int = 0) -> bytes:
        """Clock these bytes out, most significant bit first; return those that come in."""
        return bytes(self._byte(octet, polarity, phase) for octet in sent)

    def _byte(self, sent: int, polarity: int, phase: int) -> int:
        got = 0
        for place in range(7, -1, -1):
            data_in = sent >> place & 1
            if phase == 0:
                bit = self._data()
                self._clock(1 - polarity, data_in)
                self._clock(polarity, data_in)
            else:
                self._clock(1 - polarity, data_in)
                bit = self._data()
                self._clock(polarity, data_in)
            got = got << 1 | bit
        return got

    def _clock(self, level: int, data_in: int) -> None:
        for chip in self.chips.values():
            chip.clock(level, data_in)

    def _data(self) -> int:
        """Return the level of the data line: 0 if a selected chip pulls it down."""
        levels = [chip.data_out for chip in self.chips.values() if chip.selected]
        return min(levels, default=RELEASED)
