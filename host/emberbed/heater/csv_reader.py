"""Read measured rows out of a text table: time, drive, temperature, in whatever spelling.

Comma, semicolon, tab or spaces between the fields, decimal point or (not between commas) decimal
comma, units in brackets, comment lines with #. Raises `TableMistake`, one sentence that names the
file, the line and the mend. What the numbers mean is judged in csv_checks.
"""

import csv
import hashlib
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from emberbed.heater.step_data import DRIVE, PERCENT, SWITCHED, WATTS, Measured
from emberbed.plain_text import did_you_mean, printable

MOST_BYTES = 256 * 1024 * 1024
SEPARATORS = (";", "\t", ",")
TIMES = {  # seconds in one
    "time_s": 1.0, "time": 1.0, "t": 1.0, "t_s": 1.0, "elapsed_s": 1.0, "seconds": 1.0, "s": 1.0,
    "time_ms": 1e-3, "t_ms": 1e-3, "elapsed_ms": 1e-3, "ms": 1e-3,
    "time_min": 60.0, "t_min": 60.0, "minutes": 60.0, "min": 60.0,
}  # fmt: skip
DRIVES = {
    "power_w": WATTS, "power": WATTS, "watts": WATTS, "heat_w": WATTS, "w": WATTS,
    "driven": SWITCHED,
    "power_percent": PERCENT, "demand_percent": PERCENT, "drive_percent": PERCENT,
    "duty_percent": PERCENT, "percent": PERCENT,
    "drive": DRIVE, "drive_v": DRIVE, "voltage_v": DRIVE, "voltage": DRIVE, "volts": DRIVE,
    "v": DRIVE, "u": DRIVE, "u_v": DRIVE, "input": DRIVE,
}  # fmt: skip
TEMPERATURES = (
    "temperature_c", "temperature", "temp_c", "temp", "board_c", "celsius", "t_c", "c", "degc",
    "y", "y_c", "temperature_degc", "temp_degc",
)  # fmt: skip
NO_TEMPERATURES = ("setpoint_c",)  # of an exported run; asked for, not measured
_WORD = re.compile(r"[A-Za-z_]{2,}|[A-Za-z]$")
_NOT_NAMED = "the first line must name the columns, such as time_s,power_w,temperature_c"


class TableMistake(Exception):
    """Why a table cannot be used: one sentence."""


class _Columns(NamedTuple):
    names: list[str]
    time: int
    second: float  # of the time column's unit
    drive: int
    kind: str
    temperature: int
    fan: int | None


def read_measured(path: Path, temperature: str | None = None) -> Measured:
    """Read a file; `temperature` names the column where more than one could be meant."""
    shown = printable(path, 200)
    raw = _raw(path, shown)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as bad:
        line = raw.count(b"\n", 0, bad.start) + 1
        raise TableMistake(f"{shown}:{line}: this is not UTF-8 text; save it as CSV") from None
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise TableMistake(f"{shown}: the file is empty; {_NOT_NAMED}, and rows below it")
    (head_line, head), *rows = lines
    separator = next((one for one in SEPARATORS if one in head), None)
    columns = _columns(_fields(head, separator), f"{shown}:{head_line}", temperature)
    where = np.array([number for number, _line in rows], int)
    table = np.array(list(_numbers(rows, separator, columns, shown))).reshape(-1, 4)
    return Measured(
        path.name,
        hashlib.sha256(raw).hexdigest(),
        columns.kind,
        columns.names[columns.drive],
        columns.names[columns.temperature],
        table[:, 0] * columns.second,
        table[:, 1],
        table[:, 2],
        where,
        table[:, 3],
    )


def _raw(path: Path, shown: str) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise TableMistake(f"{shown}: the file has over {MOST_BYTES >> 20} MiB; shorten it")
        return path.read_bytes()
    except (OSError, ValueError) as refused:
        why = getattr(refused, "strerror", None) or "this name cannot be a file name"
        raise TableMistake(f"{shown} cannot be read ({why}); name a CSV file") from None


def _fields(line: str, separator: str | None) -> list[str]:
    if separator is None:
        return line.split()
    return [field.strip() for field in next(csv.reader([line], delimiter=separator))]


def _plain(name: str) -> str:
    """Return a column's name without spelling: 'Time [s]' and 'time_s' are one."""
    return re.sub(r"[^a-z0-9]+", "_", name.casefold().replace("%", " percent ")).strip("_")


def _columns(heads: Sequence[str], place: str, wanted: str | None) -> _Columns:
    names = [_plain(head) for head in heads]
    if not any(_WORD.search(head) for head in heads):
        raise TableMistake(f"{place}: no column has a name; {_NOT_NAMED}")
    _refuse_fahrenheit(names, place)
    time = _one_of(names, TIMES, "the time", "time_s", place)
    drive = _one_of(names, DRIVES, "the power or drive", "power_w or drive", place)
    return _Columns(
        [printable(head) for head in heads],
        time,
        TIMES[names[time]],
        drive,
        DRIVES[names[drive]],
        _temperature(names, wanted, place),
        names.index("fan") if "fan" in names else None,
    )


def _refuse_fahrenheit(names: Sequence[str], place: str) -> None:
    for name in names:
        if name in ("temperature_f", "temp_f", "degf", "temperature_degf", "fahrenheit"):
            raise TableMistake(f"{place}: {name} is in Fahrenheit; write degrees Celsius")


def _one_of(
    names: Sequence[str], known: dict[str, float] | dict[str, str], what: str, such: str, place: str
) -> int:
    """Return the column with the first of the `known` names; they stand best name first."""
    for name in known:
        if names.count(name) > 1:
            raise TableMistake(f"{place}: two columns are called {name}; drop or rename one")
        if name in names:
            return names.index(name)
    raise TableMistake(f"{place}: no column holds {what}; name one {such}{_instead(names, known)}")


def _instead(names: Sequence[str], known: dict[str, float] | dict[str, str]) -> str:
    listed = ", ".join(printable(name, 20) for name in names[:8] if name)
    return f" (the columns are {listed})" if listed else ""


def _temperature(names: Sequence[str], wanted: str | None, place: str) -> int:
    if wanted is not None:
        asked = _plain(wanted)
        for name in (asked, f"{asked}_c"):
            if name in names:
                return list(names).index(name)
        mend = did_you_mean(asked, [name for name in names if name], "the columns are")
        raise TableMistake(f"{place}: there is no column {printable(wanted)}; {mend}")
    for name in TEMPERATURES:
        if name in names:
            return list(names).index(name)
    possible = [name for name in names if name.endswith("_c") and name not in NO_TEMPERATURES]
    if len(possible) == 1:
        return list(names).index(possible[0])
    if possible:
        listed = ", ".join(printable(name, 30) for name in possible)
        raise TableMistake(f"{place}: choose the temperature with --sensor: {listed}")
    instead = _instead(names, {})
    raise TableMistake(f"{place}: no column holds the temperature; name one temperature_c{instead}")


def _numbers(
    rows: Sequence[tuple[int, str]], separator: str | None, columns: _Columns, shown: str
) -> Iterator[tuple[float, ...]]:
    chosen = [columns.time, columns.drive, columns.temperature]
    chosen += [] if columns.fan is None else [columns.fan]
    for line, row in rows:
        fields = _fields(row, separator)
        if len(fields) != len(columns.names):
            raise TableMistake(
                f"{shown}:{line}: there are {len(fields)} fields under {len(columns.names)} column"
                " names; give every row one field for each"
            )
        numbers = [
            _number(fields[n], separator, columns.names[n], f"{shown}:{line}") for n in chosen
        ]
        yield tuple(numbers if columns.fan is not None else [*numbers, 0.0])


def _number(field: str, separator: str | None, name: str, place: str) -> float:
    written = field.replace(",", ".") if separator != "," else field
    try:
        number = float(written)
    except ValueError:
        what = f'"{printable(field, 20)}" is no number' if field else "nothing stands"
        raise TableMistake(
            f"{place}: {what} under {name}; leave such rows out where they are few"
        ) from None
    if not np.isfinite(number):
        raise TableMistake(f"{place}: {name} is {number}; leave such rows out where they are few")
    return number
