"""A jet of hot air over one gridded board, wherever its nozzle is held.

Takes the nozzle's place in mm from the board's middle, gives two shares (0..1) for the parts and
then the cells' upper faces: h over the h right under the nozzle, and how much of the jet's air is
left there, the rest being air of the surroundings.
"""

import numpy as np

from emberbed_sim.plant.grid_parameters import GridBench

SAMPLES = 9  # per side of a part, to average the jet over it


class JetField:
    """The spots of a board that a jet may meet; `at` asks for one place of the nozzle."""

    def __init__(self, bench: GridBench) -> None:
        board = bench.board
        x_low, _, y_low, _ = board.extent_mm
        columns, rows = board.cells
        x = x_low + (np.arange(columns) + 0.5) * board.scale.length_mm / columns
        y = y_low + (np.arange(rows) + 0.5) * board.scale.width_mm / rows
        steps = (np.arange(SAMPLES) + 0.5) / SAMPLES - 0.5
        spots_x, spots_y = [np.tile(x, rows)], [np.repeat(y, columns)]
        for part in board.parts:
            spots_x.append(np.tile(part.x_mm + steps * part.length_mm, SAMPLES))
            spots_y.append(np.repeat(part.y_mm + steps * part.width_mm, SAMPLES))
        self._x, self._y = np.concatenate(spots_x), np.concatenate(spots_y)
        self._cells, self._parts = columns * rows, len(board.parts)
        self._radii_mm = bench.jet.h_radius_mm, bench.jet.air_radius_mm

    def at(self, x_mm: float, y_mm: float) -> tuple[np.ndarray, np.ndarray]:
        """Return the shares of h and of air for a nozzle over this spot."""
        off_mm2 = (self._x - x_mm) ** 2 + (self._y - y_mm) ** 2
        strength, reach = (self._means(1 / (1 + off_mm2 / one**2)) for one in self._radii_mm)
        return strength, reach

    def _means(self, spots: np.ndarray) -> np.ndarray:
        """Return parts' means and then the cells' own values."""
        parts = spots[self._cells :].reshape(self._parts, SAMPLES**2).mean(axis=1)
        return np.concatenate((parts, spots[: self._cells]))
