"""What one roving couple found on a board that is held steady: a row for each position.

`checked_survey` takes the rows of a survey on a device, `read_survey` those of a file, and
`as_table` gives that file. Columns x_mm, y_mm, temperature_c, control_c in any order, other columns
are left alone; the rest of the spelling is csv_reader's. Every temperature is brought to the same
control reading. Raises `TableMistake`, one sentence with the place and the mend.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from emberbed.heater.csv_reader import SEPARATORS, TableMistake, _fields, _number, _plain, _raw
from emberbed.plain_text import printable

COLUMNS = ("x_mm", "y_mm", "temperature_c", "control_c")
# name, value, unit, why; common practice, no source, unless said otherwise
LIMITS = (
    (
        "LEAST_POSITIONS",
        9,
        "positions",
        "six numbers of a surface, and three to check",
    ),
    ("MOST_POSITIONS", 400, "positions", "more than anyone measures by hand"),
    ("STEADY_C", 3.0, "degC", "more than the band of a hold is no steady hold"),
    ("LEAST_HOT_C", 60.0, "degC", "below it the room's draughts count more than the emitters"),
    ("FAR_C", 80.0, "degC", "further from the control sensor no spot of one board is"),
    ("LEAST_EXTENT_MM", 20.0, "mm", "less than a chip's size tells nothing of a heater"),
    ("FARTHEST_MM", 1000.0, "mm", "larger than any bench heater"),
)
(LEAST_POSITIONS, MOST_POSITIONS, STEADY_C, LEAST_HOT_C, FAR_C, LEAST_EXTENT_MM,
 FARTHEST_MM) = (row[1] for row in LIMITS)  # fmt: skip
SHAPE = "measure three rows of three, from rim to rim"


@dataclass(frozen=True)
class Survey:
    """Positions with their temperatures at one control reading."""

    x_mm: np.ndarray
    y_mm: np.ndarray
    board_c: np.ndarray
    control_c: float

    @property
    def middle_mm(self) -> tuple[float, float]:
        """Return the middle of the measured rectangle."""
        return _middle(self.x_mm), _middle(self.y_mm)

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """Return the measured rectangle: (x_low, x_high, y_low, y_high)."""
        ends = (edge(axis) for axis in (self.x_mm, self.y_mm) for edge in (np.min, np.max))
        x_low, x_high, y_low, y_high = (float(end) for end in ends)
        return x_low, x_high, y_low, y_high


def read_survey(path: Path) -> Survey:
    """Read and check a file."""
    shown = printable(path, 200)
    lines, table = _table(path, shown)
    return checked_survey(shown, [f"{shown}:{line}" for line in lines], table)


def checked_survey(shown: str, places: Sequence[str], table: np.ndarray) -> Survey:
    """Check rows of COLUMNS; `shown` and, row by row, `places` are what sentences call them."""
    _check_numbers(shown, places, table)
    x_mm, y_mm, found_c, control_c = table.T
    _check_shape(shown, x_mm, y_mm)
    steady_c = float(control_c.mean())
    return Survey(x_mm, y_mm, found_c + steady_c - control_c, steady_c)


def as_table(table: np.ndarray) -> str:
    """Return rows of COLUMNS as the text of a file that `read_survey` reads."""
    rows = [f"{x:g},{y:g},{found:.2f},{control:.2f}" for x, y, found, control in table]
    return "\n".join([",".join(COLUMNS), *rows, ""])


def _table(path: Path, shown: str) -> tuple[list[int], np.ndarray]:
    """Return the rows' lines in the file and their four numbers."""
    try:
        text = _raw(path, shown).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise TableMistake(f"{shown}: this is not UTF-8 text; save it as CSV") from None
    rows = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise TableMistake(f"{shown}: the file is empty; {_header()}")
    (head_line, head), *body = rows
    separator = next((one for one in SEPARATORS if one in head), None)
    names = [_plain(name) for name in _fields(head, separator)]
    for wanted in COLUMNS:
        if names.count(wanted) != 1:
            many = "more than one column is" if wanted in names else "no column is"
            raise TableMistake(f"{shown}:{head_line}: {many} called {wanted}; {_header()}")
    chosen = [names.index(wanted) for wanted in COLUMNS]
    table = []
    for line, row in body:
        fields = _fields(row, separator)
        if len(fields) != len(names):
            raise TableMistake(
                f"{shown}:{line}: there are {len(fields)} fields under {len(names)} column names;"
                " give every row one field for each"
            )
        place = f"{shown}:{line}"
        table.append([_number(fields[n], separator, names[n], place) for n in chosen])
    return [line for line, _row in body], np.array(table, float).reshape(-1, len(COLUMNS))


def _header() -> str:
    return f"the first line must name {','.join(COLUMNS)}"


def _check_numbers(shown: str, places: Sequence[str], table: np.ndarray) -> None:
    if len(table) < LEAST_POSITIONS:
        raise TableMistake(
            f"{shown}: there are {len(table)} positions and {LEAST_POSITIONS} are needed; {SHAPE}"
        )
    if len(table) > MOST_POSITIONS:
        raise TableMistake(
            f"{shown}: there are {len(table)} positions; keep {MOST_POSITIONS} of them or fewer"
        )
    for place, (x_mm, y_mm, found_c, control_c) in zip(places, table, strict=True):
        if max(abs(x_mm), abs(y_mm)) > FARTHEST_MM:
            raise TableMistake(
                f"{place}: x {x_mm:g}, y {y_mm:g} is off every bench; write millimetres"
            )
        if control_c < LEAST_HOT_C:
            raise TableMistake(
                f"{place}: control_c is {control_c:g}, too cold to tell emitters apart;"
                f" hold {LEAST_HOT_C:g} °C or more"
            )
        if abs(found_c - control_c) > FAR_C:
            raise TableMistake(
                f"{place}: temperature_c is {found_c:g} where the control sensor reads"
                f" {control_c:g}; press the couple down and measure this position again"
            )
    control = table[:, 3]
    if np.ptp(control) > STEADY_C:
        raise TableMistake(
            f"{shown}: control_c goes from {control.min():g} to {control.max():g}; wait until the"
            " hold is steady and measure again"
        )


def _check_shape(shown: str, x_mm: np.ndarray, y_mm: np.ndarray) -> None:
    spots = list(zip(x_mm.tolist(), y_mm.tolist(), strict=True))
    twice = next((spot for spot in spots if spots.count(spot) > 1), None)
    if twice is not None:
        raise TableMistake(
            f"{shown}: x {twice[0]:g}, y {twice[1]:g} stands there twice; keep one of the rows"
        )
    small = min(np.ptp(x_mm), np.ptp(y_mm)) < LEAST_EXTENT_MM
    if small or min(len(set(x_mm)), len(set(y_mm))) < 3:
        raise TableMistake(f"{shown}: the positions lie on a line or close together; {SHAPE}")


def _middle(values_mm: np.ndarray) -> float:
    return float(values_mm.min() + values_mm.max()) / 2
