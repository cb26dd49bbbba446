"""What one roving couple found on a board that is held steady: a row for each position.

`checked_survey` takes the rows of a survey on a device, `read_survey` those of a file, and
`as_table` gives that file. Columns x_mm, y_mm, temperature_c, control_c in any order, other columns
are left alone; the rest of the spelling is csv_reader's. Every temperature is brought to the same
control reading. Raises `TableMistake`, one sentence with the place and the mend.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from emberbed.heater.csv_reader import MOST_BYTES
from emberbed.text_table import NOT_NAMED, TableMistake, TextTable

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
    text = TextTable(path, MOST_BYTES, ",".join(COLUMNS))
    table = np.array(list(_rows(text)), float).reshape(-1, len(COLUMNS))
    return checked_survey(text.shown, [f"{text.shown}:{line}" for line in text.lines()], table)


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


def _rows(text: TextTable) -> Iterator[list[float]]:
    """Give the four numbers of each row."""
    for wanted in COLUMNS:
        if text.names.count(wanted) != 1:
            many = "more than one column is" if wanted in text.names else "no column is"
            first_line = NOT_NAMED.format(such=",".join(COLUMNS))
            raise TableMistake(f"{text.place}: {many} called {wanted}; {first_line}")
    chosen = [text.names.index(wanted) for wanted in COLUMNS]
    for place, fields in text.rows():
        yield [text.number(fields[n], text.names[n], place) for n in chosen]


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
