"""Two slots for the device description: a write cut off at any byte leaves the one before whole.

A slot is H number, settings block, I CRC-32 over both. The newer good slot counts; a write goes to
the other one and is read back. Takes a port's `read_slot(n)` and `write_slot(n, octets)`. Between
ticks only, and only while nothing heats: flash stalls a controller. Serves hazard H04.
"""

import struct
from binascii import crc32

from emberbed_fw.settings import SETTINGS_BYTES, settings_fit

SLOTS = (0, 1)
SLOT_BYTES = 2 + SETTINGS_BYTES + 4
NUMBERS = 0x10000


def load_settings(port):
    """Return the newest good description, that of the port itself when no slot has one."""
    slot = newest_slot(port)
    return port.settings_block() if slot < 0 else _block(port.read_slot(slot))


def store_settings(port, block):
    """Write a description that fits; tell whether it will be found. The old one stays until the
    new one is whole."""
    if not settings_fit(block):
        return False
    newest = newest_slot(port)
    number = 0 if newest < 0 else (_number(port.read_slot(newest)) + 1) % NUMBERS
    slot = 1 if newest == 0 else 0
    octets = struct.pack("<H", number) + bytes(block)
    octets += struct.pack("<I", crc32(octets))
    port.write_slot(slot, octets)
    return bytes(port.read_slot(slot)) == octets


def newest_slot(port):
    """Return the slot that counts, -1 when neither is good."""
    good = [slot for slot in SLOTS if _is_good(port.read_slot(slot))]
    if len(good) < 2:
        return good[0] if good else -1
    ahead = (_number(port.read_slot(1)) - _number(port.read_slot(0))) % NUMBERS
    return 1 if 0 < ahead < NUMBERS // 2 else 0


def _is_good(octets):
    if len(octets) != SLOT_BYTES:
        return False
    if struct.unpack_from("<I", octets, SLOT_BYTES - 4)[0] != crc32(memoryview(octets)[:-4]):
        return False
    return settings_fit(_block(octets))


def _block(octets):
    return bytes(memoryview(octets)[2 : 2 + SETTINGS_BYTES])


def _number(octets):
    return struct.unpack_from("<H", octets, 0)[0]
