"""One SPI bus for all converters: chip selects that always end high, the mode each chip wants.

Takes a `machine.SPI` and gives transfers of preallocated buffers; nothing here allocates. Mode 0
for chips whose data is read on the rising clock, mode 1 for those on the falling one. 1 MHz: every
chip here bears 4 MHz and more, a cable of a hand's length does not.
"""

BAUD = 1000000


class SpiBus:
    def __init__(self, spi):
        self._spi = spi
        self._phase = -1

    def read(self, cs, phase, into):
        """Clock `into` full of bytes from the chip behind `cs`."""
        self._use(phase)
        cs(0)
        try:
            self._spi.readinto(into)
        finally:
            cs(1)

    def exchange(self, cs, phase, out, into):
        """Send `out` and take as many bytes into `into` at the same time."""
        self._use(phase)
        cs(0)
        try:
            self._spi.write_readinto(out, into)
        finally:
            cs(1)

    def write(self, cs, phase, out):
        self._use(phase)
        cs(0)
        try:
            self._spi.write(out)
        finally:
            cs(1)

    def _use(self, phase):
        if phase != self._phase:
            self._spi.init(baudrate=BAUD, polarity=0, phase=phase)
            self._phase = phase
