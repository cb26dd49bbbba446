"""The calls of MicroPython's usual `ssd1306` library; what is shown goes to the other end."""

import struct

import pins_link


class SSD1306_I2C:
    def __init__(self, width, height, i2c):
        assert (width, height) in ((128, 32), (128, 64))
        self._rows = {}

    def fill(self, colour):
        assert colour == 0
        self._rows = {}

    def text(self, letters, x, y):
        self._rows[y] = letters

    def show(self):
        shown = "\n".join([self._rows[y] for y in sorted(self._rows)]).encode()
        pins_link.tell(b"D", struct.pack("<H", len(shown)) + shown)
