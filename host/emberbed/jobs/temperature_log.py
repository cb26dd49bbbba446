"""A temperature log of a load test out of a CSV file: how hot each sensor got, and in the mean.

The first line names the columns: one time (`time_s`, `minutes`, ... as csv_reader knows them, or
dates and times in ISO 8601 under `timestamp`), and sensors in degrees C. An empty field is no
reading. Raises TableMistake, one sentence that names the file, the line and the mend.
"""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from scipy.integrate import trapezoid

from emberbed.heater.csv_checks import HIGHEST_C, LOWEST_C
from emberbed.heater.csv_reader import NO_TEMPERATURES, TEMPERATURES, TIMES
from emberbed.jobs.model import LogColumn
from emberbed.plain_text import printable
from emberbed.text_table import TableMistake, TextTable

MOST_BYTES = 20 * 1024 * 1024
MOST_SENSORS = 32
LEAST_ROWS = 2
MOST_NAME = 40  # characters of a sensor's name
STAMPS = ("timestamp", "date_time", "datetime", "date_and_time", "time_utc", "time", "date")
_SUCH = "time_s,chip_c,case_c"
_CELSIUS_ENDS = ("_c", "_degc", "_celsius")


def read_log(path: Path) -> tuple[bytes, dict[str, Any]]:
    """Return the file's bytes, and `rows`, `seconds` and `columns` (LogColumn) of its log."""
    text = TextTable(path, MOST_BYTES, _SUCH)
    sensors = _sensors(text)
    rows = list(text.rows())
    if len(rows) < LEAST_ROWS:
        raise TableMistake(f"{text.shown}: a log has {LEAST_ROWS} rows or more; name another file")
    seconds = _seconds(text, rows)
    columns = [
        _column(text, printable(text.heads[n], MOST_NAME), seconds, _readings(text, rows, n))
        for n in sensors
    ]
    log = {"rows": len(rows), "seconds": float(seconds[-1] - seconds[0]), "columns": columns}
    return text.raw, log


def _sensors(text: TextTable) -> list[int]:
    """Return the columns that hold temperatures."""
    found = []
    for n, name in enumerate(text.names):
        known = name in TEMPERATURES or name.endswith(_CELSIUS_ENDS)
        if known and name not in NO_TEMPERATURES and name not in TIMES:
            found.append(n)
    if not found:
        listed = ", ".join(printable(head, 20) for head in text.heads[:8])
        raise TableMistake(
            f"{text.place}: no column holds a temperature (the columns are {listed}); name one in"
            " degrees Celsius, such as chip_c"
        )
    if len(found) > MOST_SENSORS:
        raise TableMistake(
            f"{text.place}: there are {len(found)} sensors; keep {MOST_SENSORS} of them or fewer"
        )
    return found


def _seconds(text: TextTable, rows: Sequence[tuple[str, list[str]]]) -> np.ndarray:
    numbered = next((name for name in TIMES if name in text.names), None)
    stamped = next((name for name in STAMPS if name in text.names), None)
    if numbered is None and stamped is None:
        raise TableMistake(f"{text.place}: no column holds the time; name it time_s or timestamp")
    at = text.names.index(numbered or stamped or "")
    head = printable(text.heads[at], MOST_NAME)
    if stamped is not None and (numbered is None or _is_stamp(rows[0][1][at])):
        seconds = _stamps([(place, fields[at]) for place, fields in rows], head)
    else:
        per_unit = TIMES[text.names[at]]
        seconds = [per_unit * text.number(fields[at], head, place) for place, fields in rows]
    for (place, _fields), before, after in zip(rows[1:], seconds, seconds[1:], strict=False):
        if after <= before:
            raise TableMistake(f"{place}: the time goes back or stands still; sort the rows by it")
    return np.array(seconds)


def _is_stamp(field: str) -> bool:
    try:
        datetime.fromisoformat(field)
    except ValueError:
        return False
    return not field.isdigit()


def _stamps(fields: list[tuple[str, str]], head: str) -> list[float]:
    """Return dates and times as seconds since the first one."""
    times: list[datetime] = []
    seconds: list[float] = []
    for place, field in fields:
        try:
            times.append(datetime.fromisoformat(field))
            seconds.append((times[-1] - times[0]).total_seconds())
        except (ValueError, TypeError):  # TypeError: one with a zone, one without
            raise TableMistake(
                f'{place}: "{printable(field, 30)}" under {head} is no time like the others; write'
                " all of them as 2026-03-01T14:30:00"
            ) from None
    return seconds


def _readings(
    text: TextTable, rows: Sequence[tuple[str, list[str]]], at: int
) -> list[tuple[int, float]]:
    """Return (row, degrees) of each field that is not empty."""
    head = printable(text.heads[at], MOST_NAME)
    found = []
    for row, (place, fields) in enumerate(rows):
        if not fields[at]:
            continue
        celsius = text.number(fields[at], head, place)
        if not LOWEST_C <= celsius <= HIGHEST_C:
            raise TableMistake(
                f"{place}: {head} is {celsius:g}, and {LOWEST_C:g} to {HIGHEST_C:g} °C is believed;"
                " leave the field empty where a sensor was open"
            )
        found.append((row, celsius))
    return found


def _column(
    text: TextTable, head: str, seconds: np.ndarray, readings: list[tuple[int, float]]
) -> LogColumn:
    if not readings:
        raise TableMistake(f"{text.place}: {head} has no reading; leave the column out")
    at, celsius = (np.array(one) for one in zip(*readings, strict=True))
    return LogColumn(head, float(celsius.max()), _mean(seconds[at], celsius), len(readings))


def _mean(seconds: np.ndarray, celsius: np.ndarray) -> float:
    """Return the mean over time: rows may come at uneven times."""
    if len(seconds) == 1:
        return float(celsius[0])
    return float(trapezoid(celsius, seconds) / (seconds[-1] - seconds[0]))
