"""Read a bundle from anywhere: within limits, in memory, nothing of it run or written as a file.

Everything is checked for its kind here; whether it fits together the store's audit says when it is
taken in (take_in.py).
"""

import json
import stat
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emberbed.bundle import layout
from emberbed.bundle.layout import BundleError
from emberbed.plain_text import hidden_characters, printable
from emberbed.store.schema import RUN_STATES

_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 1  # of an entry's flags (APPNOTE.TXT of the zip format, 4.4.4)
_MOST_NUMBER = 2**63 - 1
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
        if sorted(entry.filename for entry in entries) != sorted(layout.MOST_BYTES):
            raise ValueError("it holds other files than a bundle does")
        for entry in entries:
            if entry.flag_bits & _ENCRYPTED or entry.compress_type not in _METHODS:
                raise ValueError("it is packed in a way that no bundle is")
            most = layout.MOST_BYTES[entry.filename]
            with archive.open(entry) as stream:
                found[entry.filename] = stream.read(most + 1)
            if len(found[entry.filename]) > most:
                raise ValueError(f"its {entry.filename} is larger than any")
    return found


class _Reader:
    """Takes the entries apart; ValueError for anything that is not of its kind."""

    def __init__(self, entries: dict[str, bytes]) -> None:
        self._entries = entries
        self._told = json.loads(entries[layout.RUN].decode("utf-8"), parse_constant=_refuse)
        if type(self._told) is not dict or self._told.get("bundle") != layout.VERSION:
            raise ValueError("its version is not known")

    def bundle(self) -> Bundle:
        told = self._told["run"]
        if type(told) is not dict:
            raise ValueError("it has no run")
        return Bundle(
            number=_number(told["id"], 1),
            run=self._run(told),
            blocks=[(_number(n), _digest(digest)) for n, digest in self._rows("blocks", 2)],
            stretches=self._stretches(),
            events=self._sentences("events", layout.EVENT_COLUMNS),
            notes=self._sentences("notes", layout.NOTE_COLUMNS),
            snapshots=self._snapshots(),
        )

    def _run(self, told: Row) -> Row:
        run: Row = {name: _maybe(name, told[name], _text) for name in layout.TEXT_COLUMNS}
        run |= {name: _maybe(name, told[name], _number) for name in layout.NUMBER_COLUMNS}
        run |= {name: _maybe(name, told[name], _octets) for name in layout.BYTES_COLUMNS}
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
            numbers = [_number(one) for one in row[:width]]
            length = _number(row[-1])
            known = dict(zip(layout.STRETCH_COLUMNS, numbers, strict=True))
            rows.append(
                {**known, "sha256": _digest(row[width]), "packed": packed[at : at + length]}
            )
            at += length
        if at != len(packed) or sum(row["ticks"] for row in rows) > layout.MOST_TICKS:
            raise ValueError("its records are not as many as it says")
        return rows

    def _snapshots(self) -> list[tuple[int, bytes]]:
        numbers, at, rows = self._entries[layout.SNAPSHOTS], 0, []
        for tick, length in self._rows("snapshots", 2):
            rows.append((_number(tick), numbers[at : at + _number(length)]))
            at += length
        if at != len(numbers):
            raise ValueError("its snapshots are not as many as it says")
        return rows

    def _sentences(self, name: str, columns: tuple[str, ...]) -> list[tuple]:
        return [
            tuple(
                _number(cell) if column == "number" else
                _maybe("ended_utc", cell, _number) if column == "tick" else _text(cell)
                for column, cell in zip(columns, row, strict=True)
            )
            for row in self._rows(name, len(columns))
        ]  # fmt: skip

    def _rows(self, name: str, width: int, most: int = layout.MOST_ROWS) -> list[list[Any]]:
        rows = self._told[name]
        if type(rows) is not list or len(rows) > most:
            raise ValueError(f"its {name} are no list, or too long a one")
        if any(type(row) is not list or len(row) != width for row in rows):
            raise ValueError(f"its {name} are not rows of {width}")
        return rows


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no number")


def _maybe(name: str, value: Any, kind: Any) -> Any:
    return None if value is None and name in layout.MAY_BE_NONE else kind(value)


def _number(value: Any, least: int = 0) -> int:
    if type(value) is not int or not least <= value <= _MOST_NUMBER:
        raise ValueError(f"{printable(value, 30)} stands where a number must")
    return value


def _text(value: Any) -> str:
    if type(value) is not str or hidden_characters(value):
        raise ValueError("a value is no text that can be shown")
    return value


def _octets(value: Any) -> bytes:
    if type(value) is not str:
        raise ValueError(f"{printable(value, 30)} stands where bytes must")
    return bytes.fromhex(value)


def _digest(value: Any) -> bytes:
    octets = _octets(value)
    if len(octets) != 32:
        raise ValueError("a fingerprint is cut short")
    return octets
