"""Which pin of a controller board does what: the table that is installed beside the description.

One block of bytes, CRC-32 at its end; a block whose length, version, board or CRC is wrong is
refused as a whole, and no pin is set. NO_PIN where there is nothing. Checked pin by pin on the host
(host/emberbed/device_file); here only that the block is whole and no pin has two uses.
"""

import struct
from binascii import crc32

from emberbed_fw.units import CHANNELS, NONE, ZONES

WIRING_VERSION = 1
NO_PIN = NONE
BOARDS = ("rp2040", "rp2350", "esp32", "esp32-s3", "esp32-c3")
LINK_USB = 0
LINK_UART = 1
SENSE_MIRROR = 0  # a contact that is closed while the contactor is open: safe when a wire is off
SENSE_VOLTAGE = 1  # an isolated sense behind the contactor that pulls the pin down on voltage

ROLES = (
    "sck", "mosi", "miso", "tx", "rx", "contactor", "contactor_sense", "current_sense", "fan",
    "tach", "button", "stop_sense", "lamp", "buzzer", "sda", "scl",
)
HEADER = "<BBBBBI"  # version, board, link, kind of contactor sense, rows of the display, baud
HEADER_BYTES = struct.calcsize(HEADER)
PINS = len(ROLES) + CHANNELS + ZONES
WIRING_BYTES = HEADER_BYTES + PINS + 4


def pack_wiring(board, link, sense_kind, display_rows, baud, pins, channel_pins, zone_pins):
    """Return the block. pins: {role: pin}; channel_pins: chip select or analogue input by channel;
    zone_pins: drive by zone; missing ones are NO_PIN."""
    block = struct.pack(HEADER, WIRING_VERSION, BOARDS.index(board), link, sense_kind, display_rows,
                        baud)
    numbers = [pins.get(role, NO_PIN) for role in ROLES]
    numbers += [_at(channel_pins, channel) for channel in range(CHANNELS)]
    numbers += [_at(zone_pins, zone) for zone in range(ZONES)]
    block += bytes(numbers)
    return block + struct.pack("<I", crc32(block))


def _at(pins, number):
    return pins[number] if number < len(pins) else NO_PIN


def find_wiring_fault(block):
    """Return what is wrong with a block in a few words, None for nothing."""
    if len(block) != WIRING_BYTES:
        return "it is not whole"
    if struct.unpack_from("<I", block, WIRING_BYTES - 4)[0] != crc32(memoryview(block)[:-4]):
        return "it is damaged"
    if block[0] != WIRING_VERSION or block[1] >= len(BOARDS):
        return "it is of another version"
    used = [pin for pin in block[HEADER_BYTES : HEADER_BYTES + PINS] if pin != NO_PIN]
    return "it uses a pin twice" if len(set(used)) != len(used) else None


class Wiring:
    """The opened table. Raises ValueError for a block that is not good."""

    def __init__(self, block):
        fault = find_wiring_fault(block)
        if fault is not None:
            raise ValueError("wiring refused: " + fault)
        _version, board, self.link, self.sense_kind, self.display_rows, self.baud = (
            struct.unpack_from(HEADER, block, 0)
        )
        self.board = BOARDS[board]
        at = HEADER_BYTES
        self._pins = block[at : at + len(ROLES)]
        at += len(ROLES)
        self.channel_pins = block[at : at + CHANNELS]
        self.zone_pins = block[at + CHANNELS : at + CHANNELS + ZONES]

    def pin(self, role):
        """Return the pin of a role, NO_PIN for none."""
        return self._pins[ROLES.index(role)]
