"""SSD1306 at its I2C bus: command bytes, memory, and what the glass shows.

Takes what a controller writes; raises `Nonsense` for a byte that the chip knows no command by.
From memory of the datasheet (Solomon Systech, rev. 1.1): command table 9, memory modes 10.1.3,
addressing windows 10.1.4 and 10.1.5, control byte 8.1.5.2, charge pump (application note), and
that modules are mounted so that columns and rows run backwards (segment 127 left, COM 63 on top).
"""

WIDTH, PAGES, PAGE_ROWS = 128, 8, 8
ROWS = PAGES * PAGE_ROWS
ADDRESS = 0x3C
LAST_ONE, MORE_DATA = 0x80, 0x40  # of a control byte: one byte follows, what follows is data
# commands that take arguments, and how many
ARGUMENTS = {
    0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8D: 1, 0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1,
    0xDB: 1,
}  # fmt: skip
PUMP_ON = 0x14
HORIZONTAL = 0


class Nonsense(Exception):
    """What a controller wrote is no command, or nothing that this chip could follow."""


class Ssd1306Chip:
    """A 128-column chip; `rows` is what the glass has of its 64."""

    def __init__(self, rows: int) -> None:
        self.rows = rows
        self.memory = bytearray(WIDTH * PAGES)
        self.on = False
        self.inverted = self.all_lit = False
        self.pumps = False  # the supply of the glass, where none is given from outside
        self.lit_without_supply = False
        self.mode = 2  # page addressing, as at power-up
        self.columns, self.pages = (0, WIDTH - 1), (0, PAGES - 1)
        self.column = self.page = 0
        self.remapped = self.upwards = False
        self.start_line = self.offset = 0
        self.multiplex = ROWS
        self.com_pins = 0x12
        self.contrast = 0x7F
        self._command: list[int] = []

    def write(self, address: int, octets: bytes) -> None:
        """Take one transfer, from start to stop."""
        if address != ADDRESS:
            raise Nonsense(f"nobody at {address:02x}")
        at = 0
        while at < len(octets):
            control = octets[at]
            if control & 0x3F:
                raise Nonsense(f"control byte {control:02x}")
            count = 1 if control & LAST_ONE else len(octets) - at - 1
            for octet in octets[at + 1 : at + 1 + count]:
                if control & MORE_DATA:
                    self._take_data(octet)
                else:
                    self._take_command(octet)
            at += 1 + count

    def _take_command(self, octet: int) -> None:
        self._command.append(octet)
        if len(self._command) <= ARGUMENTS.get(self._command[0], 0):
            return
        (code, *given), self._command = self._command, []
        if code in ARGUMENTS:
            self._set(code, given)
        else:
            self._switch(code)

    def _set(self, code: int, given: list[int]) -> None:
        match code:
            case 0x20:
                self.mode = given[0] & 3
            case 0x21:
                self.columns = (given[0] & 0x7F, given[1] & 0x7F)
                self.column = self.columns[0]
            case 0x22:
                self.pages = (given[0] & 7, given[1] & 7)
                self.page = self.pages[0]
            case 0x81:
                self.contrast = given[0]
            case 0x8D:
                self.pumps = given[0] == PUMP_ON
            case 0xA8:
                if not 15 <= given[0] <= 63:
                    raise Nonsense(f"multiplex ratio {given[0]}")
                self.multiplex = given[0] + 1
            case 0xD3:
                self.offset = given[0] & 0x3F
            case 0xDA:
                self.com_pins = given[0]

    def _switch(self, code: int) -> None:
        match code:
            case 0xAE | 0xAF:
                self.on = code == 0xAF
                self.lit_without_supply |= self.on and not self.pumps
            case 0xA4 | 0xA5:
                self.all_lit = code == 0xA5
            case 0xA6 | 0xA7:
                self.inverted = code == 0xA7
            case 0xA0 | 0xA1:
                self.remapped = code == 0xA1
            case 0xC0 | 0xC8:
                self.upwards = code == 0xC8
            case 0xE3:
                pass
            case _ if 0x40 <= code <= 0x7F:
                self.start_line = code & 0x3F
            case _:
                raise Nonsense(f"command {code:02x}")

    def _take_data(self, octet: int) -> None:
        if self.mode != HORIZONTAL:
            raise Nonsense("only the horizontal memory mode is known here")
        self.memory[self.page * WIDTH + self.column] = octet
        self.column += 1
        if self.column > self.columns[1]:
            self.column = self.columns[0]
            self.page = self.page + 1 if self.page < self.pages[1] else self.pages[0]

    def picture(self) -> list[str]:
        """Return what the eye sees, row by row from the top, a lit pixel as '#'."""
        return ["".join(self._pixel(x, y) for x in range(WIDTH)) for y in range(self.rows)]

    def _pixel(self, x: int, y: int) -> str:
        if not (self.on and self.pumps):
            return " "
        segment, com = WIDTH - 1 - x, self.multiplex - 1 - y  # as modules are mounted
        column = WIDTH - 1 - segment if self.remapped else segment
        row = self.multiplex - 1 - com if self.upwards else com
        row = (row + self.start_line + self.offset) % ROWS
        lit = self.memory[row // PAGE_ROWS * WIDTH + column] >> row % PAGE_ROWS & 1
        return "#" if self.all_lit or bool(lit) != self.inverted else " "
