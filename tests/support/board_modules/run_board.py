"""Starts a controller board's real port on the stand-ins: run_board.py CHIP FOLDER."""

import struct
import sys

import machine
import pins_link

machine.Chip.name = sys.argv[1]
PORT = "rp2040" if sys.argv[1].startswith("rp2") else "esp32"


def tell_owed(owed):
    pins_link.tell(b"Q", struct.pack("<H", owed))


def run(folder):
    from emberbed_fw import start_up
    from emberbed_fw.main_loop import start

    start_up.ROOT = folder
    name = "emberbed_fw.ports." + PORT
    __import__(name)
    port = sys.modules[name].make_port(start_up.Installed(start_up.BY_HAND))
    port.turn = tell_owed  # the bench's clock may be stopped, a board's cannot
    pins_link.tell(b"T", bytes((port.reset_cause(), port.kept())))
    start(port)


run(sys.argv[2])
