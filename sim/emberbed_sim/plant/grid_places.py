"""Where thermocouples may sit: names, and how to read a place from the state of each plant.

Every board has `board_centre`, `board_edge`, `board_corner` on top and `under_centre`; a mounted
part has its name with `_top`, and `near_` its name for the board just beside it; emitters are
`emitter` (the first), `emitter1`, `emitter2`, ... A bench adds places of its own.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from emberbed_sim.plant.grid_couplings import Layout
from emberbed_sim.plant.grid_parameters import GridBench, GridBoard, Place

FROM_RIM_MM = 5.0  # edge and corner places: a bead with its tape
BESIDE_MM = 5.0  # from a part's side


class Seat(NamedTuple):
    """How to read one place in all plants of a batch; one row per plant."""

    side: str  # top, bottom, or inside an emitter
    nodes: np.ndarray  # [plant, corner]: indices into the flattened states
    cells: np.ndarray  # the same into flattened arrays of one value per cell, where it is a cell
    upper: np.ndarray  # the same into flattened arrays of parts and upper faces, where it is on top
    weights: np.ndarray  # [plant, corner, 1]


def seats_of(benches: Sequence[GridBench], layout: Layout) -> dict[str, Seat]:
    """Return every place by name; refuse a name used twice or not by all plants."""
    per_plant = [_corners_in(bench, layout) for bench in benches]
    if any(list(one) != list(per_plant[0]) for one in per_plant):
        raise ValueError("The benches of a batch have different places; give all the same names.")
    return {
        name: _seat(side, [one[name] for one in per_plant], layout)
        for name, (side, _, _) in per_plant[0].items()
    }


def seat_at(benches: Sequence[GridBench], layout: Layout, place: Place) -> Seat:
    """Return a place that no bench has by itself, the same spot in each."""
    first = layout.top.start if place.face == "top" else layout.bottom.start
    corners = [(place.face, *_around(bench.board, place, first)) for bench in benches]
    return _seat(place.face, corners, layout)


def standard_places(board: GridBoard) -> tuple[Place, ...]:
    """Return the places every board has."""
    x_low, x_high, y_low, y_high = board.extent_mm
    edge_y_mm = y_low + min(FROM_RIM_MM, y_high)
    beside = (
        Place(f"near_{part.name}", min(part.extent_mm[1] + BESIDE_MM, x_high), part.y_mm)
        for part in board.parts
    )
    return (
        Place("board_centre", 0.0, 0.0),
        Place("board_edge", 0.0, edge_y_mm),
        Place("board_corner", x_low + min(FROM_RIM_MM, x_high), edge_y_mm),
        Place("under_centre", 0.0, 0.0, "bottom"),
        *beside,
    )


Corners = tuple[str, list[int], list[float]]  # side, four nodes, their weights


def _seat(side: str, corners: Sequence[Corners], layout: Layout) -> Seat:
    """Return how to read a place that has these corners in each plant."""
    plants = np.arange(len(corners))[:, None]
    nodes = np.array([one[1] for one in corners])
    weights = np.array([one[2] for one in corners])
    first = layout.bottom.start if side == "bottom" else layout.top.start
    cells = nodes - first + plants * layout.cells
    upper = nodes + plants * layout.top.stop
    return Seat(side, nodes + plants * layout.size, cells, upper, weights[:, :, None])


def _corners_in(bench: GridBench, layout: Layout) -> dict[str, Corners]:
    corners: dict[str, Corners] = {}
    for place in (*standard_places(bench.board), *bench.places):
        if place.name in corners:
            raise ValueError(f"Two places are called '{place.name}'; rename one.")
        first = layout.top.start if place.face == "top" else layout.bottom.start
        corners[place.name] = (place.face, *_around(bench.board, place, first))
    alone = {f"{part.name}_top": ("top", row) for row, part in enumerate(bench.board.parts)}
    first = layout.sources.start
    alone["emitter"] = ("inside", first)
    for row in range(layout.emitters):
        alone[f"emitter{row + 1}"] = ("inside", first + row)
    for name, (side, node) in alone.items():
        if name in corners:
            raise ValueError(f"The place '{name}' exists already; give yours another name.")
        corners[name] = (side, [node] * 4, [1.0, 0.0, 0.0, 0.0])
    return corners


def _around(board: GridBoard, place: Place, first: int) -> tuple[list[int], list[float]]:
    """Return the four cells around a spot and their weights; outside their middles, the nearest."""
    x_low, _, y_low, _ = board.extent_mm
    (columns, rows), scale = board.cells, board.scale
    left, to_right = _between((place.x_mm - x_low) / scale.length_mm * columns, columns)
    lower, upward = _between((place.y_mm - y_low) / scale.width_mm * rows, rows)
    right, upper = min(left + 1, columns - 1), min(lower + 1, rows - 1)
    cells = [(lower, left), (lower, right), (upper, left), (upper, right)]
    weights = [
        (1 - upward) * (1 - to_right),
        (1 - upward) * to_right,
        upward * (1 - to_right),
        upward * to_right,
    ]
    return [first + row * columns + column for row, column in cells], weights


def _between(position: float, count: int) -> tuple[int, float]:
    """Return the cell before a position (in cells from the rim) and the share of the next."""
    from_first = min(max(position - 0.5, 0.0), count - 1.0)
    before = int(from_first)
    return before, from_first - before
