"""`machine.SPI` and select pins for drivers in this process, on the simulated bus's lines."""

from emberbed_sim.plant.spi_lines import SpiLines


class Spi:
    """What of `machine.SPI` a driver uses."""

    def __init__(self, lines):
        self._lines = lines
        self._mode = (0, 0)
        self.most_baud = 0
        self.fails = False

    def init(self, baudrate, polarity, phase):
        self._mode = (polarity, phase)
        self._lines.rest_at(polarity)
        self.most_baud = max(self.most_baud, baudrate)

    def readinto(self, into):
        into[:] = self._exchange(bytes(len(into)))

    def write_readinto(self, out, into):
        into[:] = self._exchange(bytes(out))

    def write(self, out):
        self._exchange(bytes(out))

    def _exchange(self, sent):
        if self.fails:
            raise OSError("bus")
        return self._lines.exchange(sent, *self._mode)


class SelectPin:
    """A select pin; counts how often it went low."""

    def __init__(self, lines, pin):
        self._lines = lines
        self._pin = pin
        self.level = 1
        self.selections = 0

    def __call__(self, level):
        self.selections += self.level > level
        self.level = level
        self._lines.select(self._pin, level)


def bus_of(*chips):
    """Return (Spi, lines, select pins) of a bus with these chips."""
    lines = SpiLines(dict(enumerate(chips)))
    return Spi(lines), lines, [SelectPin(lines, pin) for pin in range(len(chips))]
