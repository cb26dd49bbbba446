"""The text of a table as other programs write it: UTF-8, comma, semicolon, tab or spaces between.

Empty lines and lines with # are left out. Raises `TableMistake`, one sentence that names the file,
the line and the mend.
"""

import csv
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from emberbed.plain_text import printable

SEPARATORS = (";", "\t", ",")
NOT_NAMED = "the first line must name the columns, such as {such}"
_WORD = re.compile(r"[A-Za-z_]{2,}|[A-Za-z]$")
_FAHRENHEIT = ("temperature_f", "temp_f", "degf", "temperature_degf", "fahrenheit")


class TableMistake(Exception):
    """Why a table cannot be used: one sentence."""


class TextTable:
    """`heads` are the columns' names as written, `names` the same without spelling.

    `such` shows a first line as it should be, in the sentences.
    """

    def __init__(self, path: Path, most_bytes: int, such: str) -> None:
        self.shown = printable(path, 200)
        self.raw = _raw(path, self.shown, most_bytes)
        not_named = NOT_NAMED.format(such=such)
        lines = [
            (number, line)
            for number, line in enumerate(self._text().splitlines(), 1)
            if line.strip() and not line.lstrip().startswith("#")
        ]
        if not lines:
            raise TableMistake(f"{self.shown}: the file is empty; {not_named}, and rows below it")
        (head_line, head), *self._rows = lines
        self.place = f"{self.shown}:{head_line}"  # of the first line, for sentences
        self.separator = next((one for one in SEPARATORS if one in head), None)
        self.heads = self._fields(head, self.place)
        self.names = [plain_name(head) for head in self.heads]
        if not any(_WORD.search(head) for head in self.heads):
            raise TableMistake(f"{self.place}: no column has a name; {not_named}")
        for name in self.names:
            if name in _FAHRENHEIT:
                raise TableMistake(f"{self.place}: {name} is in Fahrenheit; write degrees Celsius")

    def lines(self) -> list[int]:
        """Return the number of each row's line in the file."""
        return [number for number, _line in self._rows]

    def rows(self) -> Iterator[tuple[str, list[str]]]:
        """Give each row as the place of its line, for sentences, and its fields."""
        for line, row in self._rows:
            place = f"{self.shown}:{line}"
            fields = self._fields(row, place)
            if len(fields) != len(self.names):
                raise TableMistake(
                    f"{place}: there are {len(fields)} fields under {len(self.names)} column names;"
                    " give every row one field for each"
                )
            yield place, fields

    def number(self, field: str, name: str, place: str) -> float:
        """Return a finite number; a decimal comma is one where no comma separates."""
        written = field.replace(",", ".") if self.separator != "," else field
        try:
            number = float(written)
        except ValueError:
            what = f'"{printable(field, 20)}" is no number' if field else "nothing stands"
            raise TableMistake(
                f"{place}: {what} under {name}; leave such rows out where they are few"
            ) from None
        if not np.isfinite(number):
            raise TableMistake(
                f"{place}: {name} is {number}; leave such rows out where they are few"
            )
        return number

    def _text(self) -> str:
        try:
            return self.raw.decode("utf-8-sig")
        except UnicodeDecodeError as bad:
            line = self.raw.count(b"\n", 0, bad.start) + 1
            raise TableMistake(
                f"{self.shown}:{line}: this is not UTF-8 text; save it as CSV"
            ) from None

    def _fields(self, line: str, place: str) -> list[str]:
        if self.separator is None:
            return line.split()
        try:
            return [field.strip() for field in next(csv.reader([line], delimiter=self.separator))]
        except csv.Error:
            raise TableMistake(f"{place}: this line is no row of a table; save it as CSV") from None


def plain_name(name: str) -> str:
    """Return a column's name without spelling: 'Time [s]' and 'time_s' are one."""
    return re.sub(r"[^a-z0-9]+", "_", name.casefold().replace("%", " percent ")).strip("_")


def _raw(path: Path, shown: str, most_bytes: int) -> bytes:
    try:
        if path.stat().st_size > most_bytes:
            raise TableMistake(f"{shown}: the file has over {most_bytes >> 20} MiB; shorten it")
        return path.read_bytes()
    except (OSError, ValueError) as refused:
        why = getattr(refused, "strerror", None) or "this name cannot be a file name"
        raise TableMistake(f"{shown} cannot be read ({why}); name a CSV file") from None
