"""What a controller board at its prompt is: interpreter, family, room, and the versions on it."""

from dataclasses import dataclass
from typing import Any

from emberbed.install.failure import InstallError
from emberbed.install.remote import LOOK_S, Remote
from emberbed_fw import settings, settings_store, start_up

LEAST_VERSION = (1, 23)  # from here on all read the same compiled files (mpy 6.3)
MPY_VERSION = 6
# by the number in sys.implementation._mpy, as MicroPython's mpy documentation lists them
ARCHITECTURES = (
    "", "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp", "xtensa",
    "xtensawin", "rv32imc", "rv64imc",
)  # fmt: skip
SLOTS = ("settings0", "settings1")
KEPT_FILES = ("device", "wiring", *SLOTS)

LOOK = """
import os, sys
from binascii import hexlify

def read(path):
    try:
        with open(path, "rb") as source:
            return hexlify(source.read()).decode()
    except OSError:
        return ""

disk = os.statvfs("/")
told = sys.implementation
answer = {
    "name": told.name,
    "version": list(told.version[:3]),
    "mpy": getattr(told, "_mpy", 0),
    "platform": sys.platform,
    "machine": getattr(told, "_machine", ""),
    "wide": sys.maxsize > 0x7FFFFFFF,
    "block": disk[0],
    "free": disk[0] * disk[3],
    "marker": read(root + "/marker"),
    "main": read("/main.py"),
    "kept": {v: {n: read(root + "/" + v + "/" + n) for n in names} for v in versions},
    "manifest": {v: read(root + "/" + v + "/manifest") for v in versions},
}
"""


@dataclass(frozen=True)
class Board:
    """A board as it answered. `kept` and `manifest` by version (start_up.VERSIONS)."""

    port: str
    version: tuple[int, ...]
    platform: str
    machine: str
    architecture: str
    wide: bool
    block_bytes: int
    free_bytes: int
    marker: bytes
    main: bytes
    kept: dict[str, dict[str, bytes]]
    manifest: dict[str, bytes]

    @property
    def active(self) -> str:
        """The version that the marker names; '' where nothing is installed."""
        word = self.marker.decode("ascii", "replace").split(" ")[0]
        if word in start_up.VERSIONS and self.manifest[word]:
            return word
        return next((v for v in start_up.VERSIONS if self.manifest[v]), "")

    @property
    def free_version(self) -> str:
        """The version whose place a new one takes."""
        return start_up.other(self.active) if self.active else start_up.VERSIONS[0]

    @property
    def runs_another_program(self) -> bool:
        """Whether main.py is somebody else's."""
        return bool(self.main.strip()) and start_up.ALONE.encode() not in self.main

    def settings_block(self) -> bytes:
        """Return the description in force in the version that counts, b'' for none."""
        if not self.active:
            return b""
        block = settings_store.load_settings(_Kept(self.kept[self.active]))
        return block if settings.settings_fit(block) else b""

    def wiring(self) -> bytes:
        return self.kept[self.active]["wiring"] if self.active else b""

    def port_name(self) -> str:
        """Return the port that the version that counts was installed for, '' for none."""
        if not self.active:
            return ""
        for line in self.manifest[self.active].decode("ascii", "replace").splitlines():
            if line.startswith("port "):
                return line.removeprefix("port ")
        return ""


class _Kept:
    """The files of a version as the firmware's own reader of settings wants them."""

    def __init__(self, files: dict[str, bytes]) -> None:
        self._files = files

    def settings_block(self) -> bytes:
        return self._files["device"]

    def read_slot(self, slot: int) -> bytes:
        return self._files[SLOTS[slot]]


def look_at(remote: Remote) -> Board:
    """Ask the board what it is; InstallError when it can never run this firmware."""
    told = remote.ask(
        LOOK,
        LOOK_S,
        root=start_up.ROOT,
        versions=list(start_up.VERSIONS),
        names=list(KEPT_FILES),
    )
    _refuse_strangers(remote.port, told)
    return Board(
        remote.port,
        tuple(told["version"]),
        told["platform"],
        told["machine"],
        _architecture(told["mpy"]),
        told["wide"],
        told["block"],
        told["free"],
        bytes.fromhex(told["marker"]),
        bytes.fromhex(told["main"]),
        {v: {n: bytes.fromhex(h) for n, h in kept.items()} for v, kept in told["kept"].items()},
        {v: bytes.fromhex(text) for v, text in told["manifest"].items()},
    )


def _refuse_strangers(port: str, told: dict[str, Any]) -> None:
    version = ".".join(str(part) for part in told["version"])
    if told["name"] != "micropython":
        raise InstallError(
            f"The board at {port} runs {told['name']} {version}, not MicroPython: put MicroPython"
            " on it, then install again"
        )
    if tuple(told["version"][:2]) < LEAST_VERSION or told["mpy"] & 0xFF != MPY_VERSION:
        least = ".".join(str(part) for part in LEAST_VERSION)
        raise InstallError(
            f"The board at {port} runs MicroPython {version}: put {least} or a newer 1.x on it,"
            " then install again"
        )


def _architecture(mpy: int) -> str:
    number = mpy >> 10
    return ARCHITECTURES[number] if number < len(ARCHITECTURES) else ""
