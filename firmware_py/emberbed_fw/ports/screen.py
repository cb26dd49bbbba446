"""A small display at the device (SSD1306, 128 pixels wide) through MicroPython's usual `ssd1306`.

`show(lines)` writes rows of 16 letters; about 25 ms at 400 kHz, after a tick's outputs are set. A
display that is not there, or fails, is left alone until the next start: it never stops the device.
"""

WIDTH = 128
LETTER_ROWS = 8


class Screen:
    def __init__(self, display, rows):
        self._display = display
        self.lines = rows // LETTER_ROWS
        self._works = True

    def show(self, lines):
        """Show these texts, one below the other; False once the display has failed."""
        if not self._works:
            return False
        try:
            self._display.fill(0)
            for number in range(min(len(lines), self.lines)):
                self._display.text(lines[number], 0, number * LETTER_ROWS)
            self._display.show()
        except OSError:
            self._works = False
        return self._works


def open_screen(i2c, rows):
    """Return the display on this bus, None where there is none, or no library for it."""
    if i2c is None:
        return None
    try:
        import ssd1306  # pyright: ignore[reportMissingImports]  (a library put on the device)

        return Screen(ssd1306.SSD1306_I2C(WIDTH, rows, i2c), rows)
    except (ImportError, OSError):
        return None
