"""Where the roving couple goes: nine points, three rows of three, from rim to rim of a board.

Takes the board's length and width, gives spots in mm from its corner at low x and low y, in an
order that moves the couple as little as can be.
"""

from typing import NamedTuple

from emberbed.heater.csv_reader import TableMistake
from emberbed.survey.positions import FARTHEST_MM, LEAST_EXTENT_MM
from emberbed.survey.trims import RIM_MM

LEAST_SIDE_MM = 2 * RIM_MM + LEAST_EXTENT_MM


class Point(NamedTuple):
    """A spot of the board, from its corner."""

    x_mm: float
    y_mm: float


def nine_points(board_mm: tuple[float, float]) -> list[Point]:
    """Return the points in order. Raises TableMistake for a board that has no room for them."""
    length_mm, width_mm = board_mm
    if not LEAST_SIDE_MM <= min(board_mm) <= max(board_mm) <= FARTHEST_MM:
        raise TableMistake(
            f"--board {length_mm:g},{width_mm:g}: nine points need a board of {LEAST_SIDE_MM:g} to"
            f" {FARTHEST_MM:g} mm on each side; take another scrap board"
        )
    along = (RIM_MM, length_mm / 2, length_mm - RIM_MM)
    across = (RIM_MM, width_mm / 2, width_mm - RIM_MM)
    rows = ([Point(x, y) for x in along] for y in across)
    return [
        point
        for number, row in enumerate(rows)
        for point in (row if number % 2 == 0 else reversed(row))
    ]
