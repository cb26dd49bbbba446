"""The firmware's sources as they are installed here: their fingerprint, and a zip of them to keep.

The fingerprint is SHA-256 over the sorted sources (name, length, bytes). A device on a board tells
only its first eight bytes (`matches`). A zip that was kept is opened in memory, within limits, and
only names of the firmware's own kind are taken.
"""

import io
import re
import zipfile
import zlib
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib.resources import files
from pathlib import Path

PACKAGE = "emberbed_fw"
TOLD_BYTES = 8  # of the fingerprint, in a device's answer to HELLO
MOST_SOURCES = 500
MOST_BYTES = 4_000_000
_NAME = re.compile(r"([a-z_][a-z0-9_]*/){0,3}[a-z_][a-z0-9_]*\.py")

Sources = Mapping[str, bytes]  # path inside the package -> content


def firmware_folder() -> Path:
    return Path(str(files(PACKAGE)))


def read_sources(root: Path) -> dict[str, bytes]:
    """Return the firmware's sources below a folder, by their path inside it."""
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*.py")}


def digest_of(sources: Sources) -> bytes:
    """Return SHA-256 over the sorted sources (name, length, bytes)."""
    digest = sha256()
    for name in sorted(sources):
        digest.update(f"{name}:{len(sources[name])}:".encode() + sources[name])
    return digest.digest()


@cache
def installed_digest() -> str:
    """Return the fingerprint of the firmware installed here, hexadecimal."""
    return digest_of(read_sources(firmware_folder())).hex()


def matches(told: str, digest: str) -> bool:
    """Tell whether a run's fingerprint, which may be its first bytes only, is that of `digest`."""
    return len(told) >= 2 * TOLD_BYTES and digest.startswith(told)


def zipped(sources: Sources) -> bytes:
    """Return the sources as a zip, the same for the same sources."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(sources):
            archive.writestr(zipfile.ZipInfo(name), sources[name], zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def unzipped(packed: bytes) -> dict[str, bytes]:
    """Return the sources in a zip; ValueError when it is damaged or holds anything else."""
    sources: dict[str, bytes] = {}
    try:
        with zipfile.ZipFile(io.BytesIO(packed)) as archive:
            entries = archive.infolist()
            if len(entries) > MOST_SOURCES or sum(one.file_size for one in entries) > MOST_BYTES:
                raise ValueError("the kept firmware is larger than any firmware")
            for entry in entries:
                if not _NAME.fullmatch(entry.filename) or entry.filename in sources:
                    raise ValueError("the kept firmware holds a file that is none of it")
                with archive.open(entry) as source:
                    sources[entry.filename] = source.read(entry.file_size)
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, RuntimeError) as error:
        raise ValueError(f"the kept firmware is damaged ({error})") from None
    return sources
