"""A controller board's insides, for the real MicroPython interpreter: littlefs on a block device.

Runs before the REPL, as a board's own boot code does: mounts the file system of an image file,
runs main.py if there is one, and leaves the REPL to whoever is at the serial line. Every change of
a block is written to a journal, so that a test can cut the power after any of them.
"""

import os
import sys

import vfs

IMAGE, JOURNAL, BLOCKS, BROKEN_AFTER, FED, KEPT, PLATFORM, HERE = sys.argv[1:9]
BLOCK_BYTES = 4096
PROGRAM_BYTES = 32 if PLATFORM == "esp32" else 256  # as the file systems of these boards


class Flash:
    """Blocks in a file; `broken_after` changes the power is gone (-1: never)."""

    def __init__(self, image, journal, blocks, broken_after):
        self._image = open(image, "r+b")  # noqa: SIM115  (as long as the board lives)
        self._journal = open(journal, "ab")  # noqa: SIM115
        self._blocks = blocks
        self._left = broken_after

    def readblocks(self, block, into, offset=0):
        self._image.seek(block * BLOCK_BYTES + offset)
        self._image.readinto(into)

    def writeblocks(self, block, octets, offset=0):
        self._change(block * BLOCK_BYTES + offset, octets)

    def ioctl(self, what, block):
        if what == 4:
            return self._blocks
        if what == 5:
            return BLOCK_BYTES
        if what == 6:
            self._change(block * BLOCK_BYTES, b"\xff" * BLOCK_BYTES)
        return 0

    def _change(self, at, octets):
        if self._left == 0:
            os.system("kill -9 $PPID")  # the cable is out
        self._left -= 1
        self._journal.write(at.to_bytes(4, "little") + len(octets).to_bytes(4, "little"))
        self._journal.write(octets)
        self._image.seek(at)
        self._image.write(octets)
        self._image.flush()
        self._journal.flush()


class Platform:
    """`sys`, on a board of another kind."""

    def __init__(self, real):
        self._real = real

    def __getattr__(self, name):
        return PLATFORM if name == "platform" else getattr(self._real, name)


def boot():
    sys.path.insert(0, HERE)
    import board_machine

    board_machine.fed = open(FED, "wb")  # noqa: SIM115
    board_machine.kept = open(KEPT, "r+b")  # noqa: SIM115
    flash = Flash(IMAGE, JOURNAL, int(BLOCKS), int(BROKEN_AFTER))
    vfs.umount("/")
    try:
        disk = vfs.VfsLfs2(flash, progsize=PROGRAM_BYTES)
    except OSError:
        vfs.VfsLfs2.mkfs(flash, progsize=PROGRAM_BYTES)
        disk = vfs.VfsLfs2(flash, progsize=PROGRAM_BYTES)
    vfs.mount(disk, "/")
    sys.modules["machine"] = board_machine
    sys.modules["sys"] = Platform(sys)
    sys.path[:] = ["", "/lib"]
    os.chdir("/")
    if "main.py" in os.listdir("/"):
        with open("/main.py") as source:
            exec(source.read(), {"__name__": "__main__"})


boot()
