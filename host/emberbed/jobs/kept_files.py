"""Copies of the files that belong to the bench record: photographs and temperature logs.

A copy lies in `bench-files` beside the store under the SHA-256 of its bytes, so that a file which
is moved or changed later takes nothing from the record, and the same file is kept once. The bytes
are those of the file; what leaves the shop is drawn anew (report/photos.py).
"""

import hashlib
import os
import re
from pathlib import Path
from typing import NamedTuple

from emberbed.plain_text import printable
from emberbed.store.database import Database
from emberbed.store.faults import StoreError

FOLDER = "bench-files"
JPEG_START = b"\xff\xd8\xff"  # ISO/IEC 10918-1: start of image, first marker
_NAME = re.compile(r"[0-9a-f]{64}\.(jpg|png|csv)")


class KeptFile(NamedTuple):
    """`file` is the copy's name in the folder, `name` what the file was called."""

    file: str
    name: str


def keep_photo(database: Database, path: Path) -> KeptFile:
    """Check a photograph (PNG or JPEG, limits of report/photos.py) and copy it.

    Raises PhotoError, StoreError.
    """
    from emberbed.report.photos import photo_bytes, photo_of  # pillow: only when it is needed

    octets = photo_bytes(path)
    photo_of(octets, path)
    return keep_bytes(database, octets, path.name, ".jpg" if octets[:3] == JPEG_START else ".png")


def keep_bytes(database: Database, octets: bytes, name: str, suffix: str) -> KeptFile:
    """Copy bytes that were checked; `name` is what the file was called. Raises StoreError."""
    kept = KeptFile(hashlib.sha256(octets).hexdigest() + suffix, printable(name, 120))
    place = path_of(database, kept.file)
    try:
        if _is_whole(place):
            return kept
        place.parent.mkdir(parents=True, exist_ok=True)
        fresh = place.with_name(f"{place.name}.{os.getpid()}.new")
        with fresh.open("wb") as stream:
            stream.write(octets)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(fresh, place)
    except OSError as error:
        raise StoreError(
            f"{place.parent} cannot take the copy of {kept.name} ({error.strerror}): give yourself"
            " the right to write there, or name another store with --store"
        ) from None
    return kept


def path_of(database: Database, file: str) -> Path:
    """Return where a copy lies. StoreError for a name that no copy has: it may be damaged."""
    if not _NAME.fullmatch(file):
        raise StoreError(f"{database.path} is damaged (a copy cannot be called {printable(file)})")
    return database.path.parent / FOLDER / file


def whole_path_of(database: Database, file: str) -> Path | None:
    """Return where a copy lies, None when it is missing or changed: the record is told without."""
    place = path_of(database, file)
    return place if _is_whole(place) else None


def _is_whole(place: Path) -> bool:
    try:
        with place.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest() == place.stem
    except OSError:
        return False
