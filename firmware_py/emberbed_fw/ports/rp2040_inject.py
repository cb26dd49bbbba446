"""The injection entry on RP2040 and RP2350, over the chip's USB: no pin of the heater is made.

Started by hand for acceptance (`import emberbed_fw.ports.rp2040_inject`, then `serve`), left only
by a reset.
"""

import sys

from emberbed_fw.ports import inject
from emberbed_fw.ports.bare_board import BareBoard
from emberbed_fw.ports.board import Board
from emberbed_fw.ports.chip_rp2 import Chip
from emberbed_fw.ports.wiring import Wiring


def serve(installed):
    """Run the device on injected readings until it is reset."""
    chip = Chip(Wiring(installed.wiring()).board)
    inject.serve(BareBoard(Board(chip, sys.stdin.buffer, sys.stdout.buffer), installed))
