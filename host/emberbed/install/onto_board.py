"""The steps of an installation on a board at its prompt, each safe to be cut off anywhere.

The version that counts is never touched: the new one goes into the other place, whose manifest is
taken away first and comes back last. Only a new version that is whole and has passed its self-test
gets the marker, and the marker moves by one renaming.
"""

import tempfile
from pathlib import Path

from emberbed.install.board import Board
from emberbed.install.failure import InstallError
from emberbed.install.remote import Remote
from emberbed.install.version import Version
from emberbed_fw import start_up

MAIN = "/main.py"
SET_ASIDE = "/main-before.py"
MAIN_TEXT = f"""from {start_up.ALONE} import start

start()
"""
SPARE_BYTES = 32 * 1024  # for the marker, settings to come, and the file system itself

MAKE_ROOM = """
import os

def clear(path):
    for name, kind, *_rest in os.ilistdir(path):
        here = path + "/" + name
        if kind & 0x4000:
            clear(here)
            os.rmdir(here)
        else:
            os.remove(here)

for path in (root, place):
    try:
        os.mkdir(path)
    except OSError:
        pass
try:
    os.remove(place + "/manifest")
except OSError:
    pass
clear(place)
disk = os.statvfs("/")
answer = disk[0] * disk[3]
"""

PROVE = """
import sys
for name in list(sys.modules):
    if name.split(".")[0] == "emberbed_fw":
        del sys.modules[name]
sys.path.insert(0, root + "/" + version)
from emberbed_fw import start_up
try:
    answer = start_up.find_damage(version) or start_up.find_wrong_answer(version)
except Exception as error:
    answer = "%s: %s" % (type(error).__name__, error)
sys.path.pop(0)
"""

SET_START = """
import sys
sys.path.insert(0, root + "/" + version)
from emberbed_fw import start_up
with open(root + "/" + version + "/emberbed_fw/start_up.mpy", "rb") as source:
    octets = source.read()
start_up.replace_file("/" + start_up.ALONE + ".mpy", octets)
with open("/" + start_up.ALONE + ".mpy", "rb") as source:
    answer = source.read() == octets
sys.path.pop(0)
"""

SET_MAIN = """
import os
if aside:
    os.rename(main, aside)
with open(main + ".new", "w") as target:
    target.write(text)
try:
    os.rename(main + ".new", main)
except OSError:
    os.remove(main)
    os.rename(main + ".new", main)
with open(main) as source:
    answer = source.read() == text
"""

SWITCH = """
import emberbed_start
if state != emberbed_start.NEW:
    answer = emberbed_start.find_damage(version)
else:
    answer = None
if answer is None:
    emberbed_start.write_marker(version, state, 0)
    if emberbed_start.read_marker() != (version, state, 0):
        answer = "the marker was not kept"
"""


def copy_version(remote: Remote, board: Board, version: Version) -> None:
    """Put the new version into its place, its manifest last."""
    place = f"{start_up.ROOT}/{board.free_version}"
    room = remote.ask(MAKE_ROOM, root=start_up.ROOT, place=place)
    wanted = version.bytes_on(board.block_bytes) + SPARE_BYTES
    if room < wanted:
        raise InstallError(
            f"The board at {board.port} has {room // 1024} KiB of free flash, the firmware wants"
            f" {wanted // 1024} KiB: remove other programs' files from it, or take a board with"
            " more flash; what ran before still runs"
        )
    with tempfile.TemporaryDirectory() as folder:
        staging = Path(folder) / board.free_version
        version.write_to(staging)
        remote.copy(staging, start_up.ROOT)
        manifest = Path(folder) / start_up.MANIFEST
        manifest.write_bytes(version.manifest)
        remote.copy_file(manifest, f"{place}/{start_up.MANIFEST}")


def prove(remote: Remote, board: Board) -> None:
    """Let the board check the new version's files and run its self-test."""
    wrong = remote.ask(PROVE, root=start_up.ROOT, version=board.free_version)
    if wrong is not None:
        raise InstallError(
            f"The new version on the board at {board.port} is not sound ({wrong}): install again,"
            " and if that repeats itself, replace the board; what ran before still runs"
        )


def set_start(remote: Remote, board: Board) -> None:
    """Put what decides at power-up in its place, and main.py, which calls it."""
    good = remote.ask(SET_START, root=start_up.ROOT, version=board.free_version)
    if board.main != MAIN_TEXT.encode():
        aside = SET_ASIDE if board.runs_another_program else ""
        good = good and remote.ask(SET_MAIN, main=MAIN, aside=aside, text=MAIN_TEXT)
    if not good:
        raise InstallError(
            f"The board at {board.port} does not keep what is written to it: install again, and if"
            " that repeats itself, replace the board"
        )


def switch_to(remote: Remote, version: str, state: str) -> None:
    """Let a version count from the next start on."""
    wrong = remote.ask(SWITCH, version=version, state=state)
    if wrong is not None:
        raise InstallError(
            f"The other version on the board at {remote.port} cannot be taken ({wrong}): install it"
            " anew"
        )
