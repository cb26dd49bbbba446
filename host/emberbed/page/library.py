"""The profiles that the page offers: those that come with emberbed, and a folder of one's own.

A profile is named by where it lies (`shipped`, `own`, `given`: the file named at the start) and its
name, of letters, digits, - and _; nothing outside these places can be reached. Saving writes TOML,
whole or not at all, and never over a file that was changed since it was read. Raises NotReady.
"""

import os
import re
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from tempfile import NamedTemporaryFile

from emberbed.bench.prepare import NotReady
from emberbed.plain_text import printable
from emberbed.profiles.shipped import shipped_file, shipped_names

NAME = re.compile(r"[A-Za-z0-9_-]{1,48}")
RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)")  # no file names on Windows
SHIPPED, OWN, GIVEN = "shipped", "own", "given"


@dataclass(frozen=True)
class Text:
    """A profile's text, and the mark by which a later change of the file is seen."""

    where: str
    name: str
    text: str
    mark: str
    path: str


class Library:
    """`folder` holds one's own profiles, `given` is a file named at the start."""

    def __init__(self, folder: Path, given: Path | None = None) -> None:
        self.folder = folder
        self._given = given

    def names(self) -> list[tuple[str, str]]:
        """Return (where, name) of all, one's own first."""
        given = [(GIVEN, self._given.stem)] if self._given else []
        try:
            stems = sorted(p.stem for p in self.folder.glob("*.toml") if self._plain(p))
        except OSError:
            stems = []
        own = [(OWN, stem) for stem in stems if _is_name(stem)]
        return [*given, *own, *[(SHIPPED, name) for name in shipped_names()]]

    def read(self, where: str, name: str) -> Text:
        """Return a profile's text."""
        path = self._path(where, name)
        try:
            raw = path.read_bytes()
        except OSError as error:
            raise NotReady([f"{path} cannot be read ({error.strerror})"]) from None
        return Text(where, name, raw.decode("utf-8", "replace"), _mark(raw), str(path))

    def save(self, name: str, text: str, mark: str) -> Text:
        """Write one's own profile; `mark` is that of the file it replaces, '' for a new one."""
        if not _is_name(name):
            raise NotReady(
                [
                    f'"{printable(name, 60)}" cannot be a file name: use letters, digits, - and _,'
                    " at most 48 of them"
                ]
            )
        path, raw = self.folder / f"{name}.toml", text.encode()
        there = _mark_of(path)
        if there is not None and not mark:
            raise NotReady([f"{name} is there already: save it under another name"])
        if there is not None and there != mark:
            raise NotReady(
                [f"{name} was changed by another program meanwhile: save it under another name"]
            )
        _write_whole(path, raw)
        return Text(OWN, name, text, _mark(raw), str(path))

    def _path(self, where: str, name: str) -> Path:
        if where == GIVEN and self._given is not None:
            return self._given
        if where == OWN and _is_name(name) and self._plain(self.folder / f"{name}.toml"):
            return self.folder / f"{name}.toml"
        if where == SHIPPED and (shipped := shipped_file(name)) is not None:
            return Path(str(shipped))
        raise NotReady([f'There is no profile "{printable(name, 60)}" any more: choose another'])

    def _plain(self, path: Path) -> bool:
        return path.is_file() and not path.is_symlink()


def _is_name(name: str) -> bool:
    return NAME.fullmatch(name) is not None and RESERVED.fullmatch(name) is None


def _mark(raw: bytes) -> str:
    return sha256(raw).hexdigest()


def _mark_of(path: Path) -> str | None:
    try:
        return _mark(path.read_bytes())
    except OSError:
        return None


def _write_whole(path: Path, raw: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile(dir=path.parent, suffix=".new", delete=False) as file:
            file.write(raw)
        os.replace(file.name, path)
    except OSError as error:
        raise NotReady(
            [f"{path} cannot be written ({error.strerror}): name another folder with --profiles"]
        ) from None
