"""What was measured on a heater, and the even grid on which a model of it is computed.

`Measured` is rows as they were read: seconds, drive, degrees C; a drive holds from its row to the
next. `to_grid` makes at most a given number of even steps of it: the drive of a step as shares of a
few levels (so that heat that goes with a power of the drive is averaged right even when the drive
is switched within a step), the temperature at a step's end as the mean of the rows around it.
"""

from dataclasses import dataclass

import numpy as np

WATTS, PERCENT, SWITCHED, DRIVE = "power_w", "power_percent", "switched", "drive"
LINEAR_KINDS = (
    WATTS,
    PERCENT,
    SWITCHED,
)  # heat is in proportion; any other drive goes by a power law
MOST_LEVELS = 64


@dataclass(frozen=True)
class Measured:
    """Rows of a file; `kind` says what its drive is, `lines` where each row stands."""

    name: str
    sha256: str
    kind: str
    drive_column: str
    temperature_column: str
    seconds: np.ndarray
    drive: np.ndarray
    temperature_c: np.ndarray
    lines: np.ndarray
    fan: np.ndarray  # 0 where none blows

    def until(self, end_s: float | None) -> "Measured":
        """Return the rows before a time of the file's own clock; None: all."""
        return self._first(
            len(self.seconds) if end_s is None else int(np.searchsorted(self.seconds, end_s))
        )

    def without_fan(self) -> "Measured":
        """Return the rows before a fan blows."""
        blows = self.fan != 0
        return self._first(int(blows.argmax()) if blows.any() else len(self.seconds))

    def _first(self, kept: int) -> "Measured":
        columns = (self.seconds, self.drive, self.temperature_c, self.lines, self.fan)
        return Measured(
            self.name,
            self.sha256,
            self.kind,
            self.drive_column,
            self.temperature_column,
            *(column[:kept] for column in columns),
        )


@dataclass(frozen=True)
class Grid:
    """Even steps: `shares[step, level]` of each drive `level`, `celsius` at the steps' ends."""

    step_s: float
    seconds: np.ndarray  # of the ends, one more than steps, the first is the start
    levels: np.ndarray  # parts of full drive
    shares: np.ndarray
    celsius: np.ndarray

    def heat(self, exponent: np.ndarray) -> np.ndarray:
        """Return the mean heat of each step (rows) for each exponent (columns), full drive = 1."""
        return self.shares @ np.power(self.levels[:, None], exponent[None, :])


def to_grid(measured: Measured, full_drive: float, step_s: float) -> Grid:
    """Return the measured rows on even steps, from the first row to the last whole step."""
    began_s = measured.seconds[0]
    steps = int(np.floor((measured.seconds[-1] - began_s) / step_s + 1e-6))
    ends_s = began_s + step_s * np.arange(steps + 1)
    levels, of_row = _levels(measured.drive / full_drive)
    shares = np.column_stack([_step_means(measured.seconds, column, ends_s) for column in of_row.T])
    return Grid(step_s, ends_s, levels, shares, _smoothed(measured, ends_s, step_s))


def grid_step_s(measured: Measured, most_steps: int) -> float:
    """Return the step of a grid: the rows' own spacing, or a multiple where that is too fine."""
    spacing_s = float(np.median(np.diff(measured.seconds)))
    span_s = float(measured.seconds[-1] - measured.seconds[0])
    return spacing_s * max(1, int(np.ceil(span_s / spacing_s / most_steps - 1e-6)))


def _levels(drive: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return a few drives and each row's shares of them: its own, or of the two it lies between."""
    levels = np.unique(drive)
    if len(levels) > MOST_LEVELS:
        levels = np.linspace(levels[0], levels[-1], MOST_LEVELS)
    upper = np.clip(np.searchsorted(levels, drive), 1, max(len(levels) - 1, 1))
    rows = np.arange(len(drive))
    shares = np.zeros((len(drive), len(levels)))
    if len(levels) == 1:
        return levels, np.ones((len(drive), 1))
    part = (drive - levels[upper - 1]) / (levels[upper] - levels[upper - 1])
    shares[rows, upper] = part
    shares[rows, upper - 1] = 1 - part
    return levels, shares


def _step_means(seconds: np.ndarray, held: np.ndarray, ends_s: np.ndarray) -> np.ndarray:
    """Return the mean over each step of a value that holds from its row to the next."""
    gathered = np.concatenate([[0.0], np.cumsum(held[:-1] * np.diff(seconds))])
    return np.diff(np.interp(ends_s, seconds, gathered)) / np.diff(ends_s)


def _smoothed(measured: Measured, ends_s: np.ndarray, step_s: float) -> np.ndarray:
    """Return the temperature at each end: the mean of the rows within half a step around it."""
    spacing_s = float(np.median(np.diff(measured.seconds)))
    if step_s < 2 * spacing_s:
        return np.interp(ends_s, measured.seconds, measured.temperature_c)
    around = np.clip(np.round((measured.seconds - ends_s[0]) / step_s).astype(int), 0, len(ends_s))
    count = np.bincount(around, minlength=len(ends_s))[: len(ends_s)]
    second, celsius = (
        np.bincount(around, column, len(ends_s))[: len(ends_s)] / np.maximum(count, 1)
        for column in (measured.seconds, measured.temperature_c)
    )
    return np.interp(ends_s, second[count > 0], celsius[count > 0])
