"""Read measured rows out of a text table: time, drive, temperature, in whatever spelling.

Comma, semicolon, tab or spaces between the fields, decimal point or (not between commas) decimal
comma, units in brackets, comment lines with #. Raises `TableMistake`, one sentence that names the
file, the line and the mend. What the numbers mean is judged in csv_checks.
"""

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from emberbed.heater.step_data import DRIVE, PERCENT, SWITCHED, WATTS, Measured
from emberbed.plain_text import did_you_mean, printable
from emberbed.text_table import TableMistake, TextTable, plain_name

MOST_BYTES = 256 * 1024 * 1024
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
_SUCH = "time_s,power_w,temperature_c"


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
    text = TextTable(path, MOST_BYTES, _SUCH)
    columns = _columns(text, temperature)
    where = np.array(text.lines(), int)
    table = np.array(list(_numbers(text, columns))).reshape(-1, 4)
    return Measured(
        path.name,
        hashlib.sha256(text.raw).hexdigest(),
        columns.kind,
        columns.names[columns.drive],
        columns.names[columns.temperature],
        table[:, 0] * columns.second,
        table[:, 1],
        table[:, 2],
        where,
        table[:, 3],
    )


def _columns(text: TextTable, wanted: str | None) -> _Columns:
    names, place = text.names, text.place
    time = _one_of(names, TIMES, "the time", "time_s", place)
    drive = _one_of(names, DRIVES, "the power or drive", "power_w or drive", place)
    return _Columns(
        [printable(head) for head in text.heads],
        time,
        TIMES[names[time]],
        drive,
        DRIVES[names[drive]],
        _temperature(names, wanted, place),
        names.index("fan") if "fan" in names else None,
    )


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
        asked = plain_name(wanted)
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


def _numbers(text: TextTable, columns: _Columns) -> Iterator[tuple[float, ...]]:
    chosen = [columns.time, columns.drive, columns.temperature]
    chosen += [] if columns.fan is None else [columns.fan]
    for place, fields in text.rows():
        numbers = [text.number(fields[n], columns.names[n], place) for n in chosen]
        yield tuple(numbers if columns.fan is not None else [*numbers, 0.0])
