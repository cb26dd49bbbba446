"""Read a bundle from anywhere: within limits, in memory, nothing of it run or written as a file.

Everything is checked for its kind here; whether it fits together the store's audit says when it is
taken in (take_in.py).
"""

import stat
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emberbed.bundle import kinds, layout
from emberbed.bundle.layout import BundleError
from emberbed.bundle.read_job import BundledJob, read_job
from emberbed.plain_text import hidden_characters, printable
from emberbed.store.schema import RUN_STATES

_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 1  # of an entry's flags (APPNOTE.TXT of the zip format, 4.4.4)
_BROKEN = (zipfile.BadZipFile, zlib.error, OSError, EOFError, RuntimeError, NotImplementedError)
Row = dict[str, Any]


@dataclass(frozen=True)
class Bundle:
    """What a bundle says, each value of its right kind; rows as the store's tables have them."""

    number: int  # of the run in its own store
    run: Row
    blocks: list[tuple[int, bytes]]
    stretches: list[Row]
    events: list[tuple]
    notes: list[tuple]
    snapshots: list[tuple[int, bytes]]
    job: BundledJob | None = None


def read_bundle(path: Path) -> Bundle:
    """Return what a file holds. Raises BundleError."""
    try:
        entries = _entries(path)
        return _Reader(entries).bundle()
    except BundleError:
        raise
    except _BROKEN as error:
        raise BundleError(f"{path} cannot be read ({_reason(error)}); fetch it again") from None
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        why = printable(error, 100)
        raise BundleError(f"{path} is no bundle of this version ({why}); fetch it again") from None


def _reason(error: BaseException) -> str:
    return printable(getattr(error, "strerror", None) or error, 100)


def _entries(path: Path) -> dict[str, bytes]:
    status = path.stat()
    if not stat.S_ISREG(status.st_mode):
        raise ValueError("it is no file")
    if status.st_size > layout.MOST_FILE_BYTES:
        raise ValueError("it is larger than any bundle")
    found: dict[str, bytes] = {}
    with zipfile.ZipFile(path) as archive:
        entries = archive.infolist()
        _check_names([entry.filename for entry in entries])
        left = layout.MOST_JOB_BYTES
        for entry in entries:
            if entry.flag_bits & _ENCRYPTED or entry.compress_type not in _METHODS:
                raise ValueError("it is packed in a way that no bundle is")
            most = layout.MOST_BYTES.get(entry.filename, left)
            if entry.filename == layout.JOB:
                most = min(most, layout.MOST_JOB_TEXT_BYTES)
            with archive.open(entry) as stream:
                found[entry.filename] = stream.read(most + 1)
            if len(found[entry.filename]) > most:
                raise ValueError(f"its {entry.filename} is larger than any")
            if entry.filename not in layout.MOST_BYTES:
                left -= len(found[entry.filename])
    return found


def _check_names(names: list[str]) -> None:
    """Refuse anything but a run's entries, each once, and perhaps a job's."""
    more = set(names) - set(layout.MOST_BYTES)
    whole = len(names) == len(set(names)) and set(layout.MOST_BYTES) <= set(names)
    if not whole or not all(layout.JOB_ENTRY.fullmatch(name) for name in more):
        raise ValueError("it holds other files than a bundle does")
    if more and layout.JOB not in more:
        raise ValueError("it holds files of a job and no job")


class _Reader:
    """Takes the entries apart; ValueError for anything that is not of its kind."""

    def __init__(self, entries: dict[str, bytes]) -> None:
        self._entries = entries
        self._told = kinds.parsed(entries[layout.RUN])
        if self._told.get("bundle") != layout.VERSION:
            raise ValueError("its version is not known")

    def bundle(self) -> Bundle:
        told = self._told["run"]
        if type(told) is not dict:
            raise ValueError("it has no run")
        return Bundle(
            number=kinds.number(told["id"], 1),
            run=self._run(told),
            blocks=[
                (kinds.number(n), kinds.digest(digest)) for n, digest in self._rows("blocks", 2)
            ],
            stretches=self._stretches(),
            events=self._sentences("events", layout.EVENT_COLUMNS),
            notes=self._sentences("notes", layout.NOTE_COLUMNS),
            snapshots=self._snapshots(),
            job=read_job(self._entries) if layout.JOB in self._entries else None,
        )

    def _run(self, told: Row) -> Row:
        run: Row = {name: _maybe(name, told[name], kinds.text) for name in layout.TEXT_COLUMNS}
        run |= {name: _maybe(name, told[name], kinds.number) for name in layout.NUMBER_COLUMNS}
        run |= {name: _maybe(name, told[name], kinds.octets) for name in layout.BYTES_COLUMNS}
        if run["state"] not in RUN_STATES or run["state"] == "open":
            raise ValueError("its run has not ended")
        if run["simulated"] not in (0, 1) or len(run["head_sha256"]) != 32:
            raise ValueError("its run has a value that none has")
        profile = self._entries[layout.PROFILE].decode("utf-8")
        if set(hidden_characters(profile)) - set("\n\r\t"):
            raise ValueError("its profile holds hidden characters")
        octets = {"plan": self._entries[layout.PLAN], "settings": self._entries[layout.SETTINGS]}
        return {**run, "profile_toml": profile, **octets}

    def _stretches(self) -> list[Row]:
        rows, at = [], 0
        packed = self._entries[layout.STRETCHES]
        width = len(layout.STRETCH_COLUMNS)
        for row in self._rows("stretches", width + 2, layout.MOST_STRETCHES):
            numbers = [kinds.number(one) for one in row[:width]]
            length = kinds.number(row[-1])
            known = dict(zip(layout.STRETCH_COLUMNS, numbers, strict=True))
            rows.append(
                {**known, "sha256": kinds.digest(row[width]), "packed": packed[at : at + length]}
            )
            at += length
        if at != len(packed) or sum(row["ticks"] for row in rows) > layout.MOST_TICKS:
            raise ValueError("its records are not as many as it says")
        return rows

    def _snapshots(self) -> list[tuple[int, bytes]]:
        numbers, at, rows = self._entries[layout.SNAPSHOTS], 0, []
        for tick, length in self._rows("snapshots", 2):
            rows.append((kinds.number(tick), numbers[at : at + kinds.number(length)]))
            at += length
        if at != len(numbers):
            raise ValueError("its snapshots are not as many as it says")
        return rows

    def _sentences(self, name: str, columns: tuple[str, ...]) -> list[tuple]:
        return [
            tuple(
                kinds.number(cell) if column == "number" else
                _maybe("ended_utc", cell, kinds.number) if column == "tick" else kinds.text(cell)
                for column, cell in zip(columns, row, strict=True)
            )
            for row in self._rows(name, len(columns))
        ]  # fmt: skip

    def _rows(self, name: str, width: int, most: int = layout.MOST_ROWS) -> list[list[Any]]:
        return kinds.rows(self._told, name, width, most)


def _maybe(name: str, value: Any, kind: Any) -> Any:
    return None if value is None and name in layout.MAY_BE_NONE else kind(value)
