"""Start a board as its flash was after each of its changes, in the real interpreter.

Arguments: image before the first change, journal, blocks. For every change, cut off in its middle
and whole, prints one line: which build runs, or none. What the start itself writes is thrown away.
"""

import struct
import sys

import vfs

IMAGE, JOURNAL, BLOCKS = sys.argv[1], sys.argv[2], int(sys.argv[3])
BLOCK_BYTES = 4096
PROGRAM_BYTES = 256


class Layer:
    """Blocks above others: changes stay here."""

    def __init__(self, below):
        self._below = below
        self._changed = {}

    def _block(self, number):
        if number not in self._changed:
            at = number * BLOCK_BYTES
            self._changed[number] = bytearray(memoryview(self._below)[at : at + BLOCK_BYTES])
        return self._changed[number]

    def readblocks(self, block, into, offset=0):
        if block in self._changed:
            into[:] = memoryview(self._changed[block])[offset : offset + len(into)]
        else:
            at = block * BLOCK_BYTES + offset
            into[:] = memoryview(self._below)[at : at + len(into)]

    def writeblocks(self, block, octets, offset=0):
        self._block(block)[offset : offset + len(octets)] = octets

    def ioctl(self, what, block):
        if what == 4:
            return BLOCKS
        if what == 5:
            return BLOCK_BYTES
        if what == 6:
            self._block(block)[:] = b"\xff" * BLOCK_BYTES
        return 0


class Seen:
    """A port that only tells that it was started."""

    def __init__(self):
        self.build = "none"

    def serve(self, installed):
        from binascii import hexlify

        self.build = hexlify(installed.build_id()).decode()


def start(flash):
    for name in list(sys.modules):
        if name.split(".")[0] in ("emberbed_fw", "emberbed_start"):
            del sys.modules[name]
    sys.path[:] = ["", "/lib"]
    try:
        vfs.mount(vfs.VfsLfs2(Layer(flash), progsize=PROGRAM_BYTES), "/")
    except OSError:
        return "unformatted"
    try:
        with open("/main.py") as source:
            whole = source.read().endswith("start()\n")
        import emberbed_start

        seen = Seen()
        emberbed_start._port_of = lambda installed: seen
        said = []
        emberbed_start.print = said.append
        emberbed_start.start()
        if said and "in service" in said[0]:
            return "service"  # asked for, for one start
        return seen.build if whole else "half a main.py"
    except (OSError, ImportError):
        return "prompt"
    finally:
        vfs.umount("/")


def main():
    with open(IMAGE, "rb") as source:
        flash = bytearray(source.read())
    with open(JOURNAL, "rb") as source:
        journal = source.read()
    vfs.umount("/")
    at = 0
    while at + 8 <= len(journal):
        address, length = struct.unpack_from("<II", journal, at)
        octets = memoryview(journal)[at + 8 : at + 8 + length]
        half = length // 2
        flash[address : address + half] = octets[:half]
        torn = start(flash)
        flash[address : address + length] = octets
        print(torn, start(flash))
        at += 8 + length


main()
