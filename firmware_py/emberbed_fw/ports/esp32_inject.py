"""The injection entry on the ESP32 family, over the line of the prompt: no pin of the heater.

Started by hand for acceptance (`import emberbed_fw.ports.esp32_inject`, then `serve`), left only by
a reset.
"""

import sys

from emberbed_fw.ports import inject
from emberbed_fw.ports.bare_board import BareBoard
from emberbed_fw.ports.board import Board
from emberbed_fw.ports.chip_esp32 import Chip


def serve(installed):
    """Run the device on injected readings until it is reset."""
    inject.serve(BareBoard(Board(Chip(), sys.stdin.buffer, sys.stdout.buffer), installed))
