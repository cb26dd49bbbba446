"""What every spot of the board sees while the control sensor reads one of them.

`Watch` follows a run on a grid and keeps the last moment of the last hold that was reached (of
heating, where a profile has no hold); `board_map` makes a picture's plain numbers of it. x and y
are counted from the board's middle, x along its length.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emberbed.records import TickRecord
from emberbed.report import display
from emberbed.report.board_map import BoardPicture, Outline, Spot
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.plant.grid_parameters import GridBoard, Place
from emberbed_sim.plant.grid_places import standard_places
from emberbed_sim.plant.grid_thermal import CHIP, GridThermal
from emberbed_sim.plant.heater import SimulatedHeater


@dataclass(frozen=True)
class BoardMap:
    """The board's upper face in °C at one moment; spots as (x_mm, y_mm, °C)."""

    moment: str
    seconds: float
    picture: BoardPicture
    control: str
    control_reads_c: float | None
    hottest: tuple[float, float, float]
    coldest: tuple[float, float, float]
    chip_c: float


@dataclass(frozen=True)
class _Kept:
    in_hold: bool
    record: TickRecord
    state: np.ndarray
    ticks: int


class Watch:
    """Looks at a run tick by tick; `kept` is the moment to draw, `heater` what it ran on."""

    def __init__(self, is_hold: Sequence[bool]) -> None:
        self._is_hold = is_hold  # by stage
        self._ticks = 0
        self.kept: _Kept | None = None
        self.heater: SimulatedHeater | None = None

    def look(self, record: TickRecord, heater: SimulatedHeater) -> None:
        """Take notice of one tick."""
        self._ticks += 1
        self.heater = heater
        if record.state not in rs.HEATING_STATES or record.stage >= len(self._is_hold):
            return
        in_hold = self._is_hold[record.stage]
        if in_hold or self.kept is None or not self.kept.in_hold:
            state = _grid(heater).plant.state.copy()
            self.kept = _Kept(in_hold, record, state, self._ticks)


def board_map(watch: Watch, names: dict[int, str], control: int) -> BoardMap | None:
    """Return the kept moment of a run; None where nothing was heated."""
    kept, heater = watch.kept, watch.heater
    if kept is None or heater is None:
        return None
    grid = _grid(heater)
    grid.plant.state[:] = kept.state
    top_c = grid.plant.map_c()[0]
    board = grid.bench.board
    hottest, coldest = (_spot(board, top_c, find(top_c)) for find in (np.argmax, np.argmin))
    seconds = kept.ticks / TICKS_PER_S
    reads_c = _degrees(kept.record.channel_cdeg(control))
    moment = f"end of {'the last hold' if kept.in_hold else 'heating'}"
    columns, rows = board.cells
    x_low, x_high, y_low, y_high = board.extent_mm
    picture = BoardPicture(
        np.linspace(x_low, x_high, columns + 1),
        np.linspace(y_low, y_high, rows + 1),
        top_c,
        [Outline(part.name, part.extent_mm) for part in board.parts],
        _sensors(grid, heater, kept.record, names),
        hottest,
        coldest,
        f"Top of the board at the {moment}, {display.clock(seconds)}",
    )
    return BoardMap(
        moment, seconds, picture, names[control], reads_c, hottest, coldest, grid.chip_k - 273.15
    )


def as_json(board: BoardMap) -> dict[str, object]:
    """Return the map for scripts; rows of `top_c` from the lowest y up."""
    return {
        "moment": board.moment,
        "seconds": board.seconds,
        "control": board.control,
        "control_reads_c": board.control_reads_c,
        "hottest": _as_spot(board.hottest),
        "coldest": _as_spot(board.coldest),
        "chip_c": round(board.chip_c, 2),
        "x_lines_mm": board.picture.x_lines_mm.tolist(),
        "y_lines_mm": board.picture.y_lines_mm.tolist(),
        "top_c": np.round(board.picture.values, 2).tolist(),
    }


def as_lines(board: BoardMap) -> list[str]:
    """Return what the spots see, against what the control sensor reads."""
    reads = display.celsius(board.control_reads_c)
    lines = [
        f"At the {board.moment}, {display.clock(board.seconds)}, {board.control} reads {reads}"
    ]
    for name, (x_mm, y_mm, celsius) in (("hottest", board.hottest), ("coldest", board.coldest)):
        place = f"x {x_mm:.0f} mm, y {y_mm:.0f} mm from the middle"
        lines.append(f"    {name} spot: {_against(celsius, board.control_reads_c)}, {place}")
    lines.append(f"    chip: {_against(board.chip_c, board.control_reads_c)}")
    return lines


def _against(celsius: float, reads_c: float | None) -> str:
    if reads_c is None:
        return display.celsius(celsius)
    return f"{display.celsius(celsius)} ({celsius - reads_c:+.1f})"


def _as_spot(spot: tuple[float, float, float]) -> dict[str, float]:
    x_mm, y_mm, celsius = spot
    return {"x_mm": round(x_mm, 1), "y_mm": round(y_mm, 1), "temperature_c": round(celsius, 2)}


def _grid(heater: SimulatedHeater) -> GridThermal:
    assert isinstance(heater.thermal, GridThermal), "a map needs a grid"
    return heater.thermal


def _spot(board: GridBoard, top_c: np.ndarray, at: np.intp) -> tuple[float, float, float]:
    row, column = divmod(int(at), top_c.shape[1])
    x_low, _, y_low, _ = board.extent_mm
    return (
        x_low + (column + 0.5) * board.scale.length_mm / board.cells[0],
        y_low + (row + 0.5) * board.scale.width_mm / board.cells[1],
        float(top_c[row, column]),
    )


def _sensors(
    grid: GridThermal, heater: SimulatedHeater, record: TickRecord, names: dict[int, str]
) -> list[Spot]:
    """Return the sensors on the board's top with what they read."""
    known = {
        place.name: place for place in (*standard_places(grid.bench.board), *grid.bench.places)
    }
    chip = next(part for part in grid.bench.board.parts if part.name == CHIP)
    known[f"{CHIP}_top"] = Place(f"{CHIP}_top", chip.x_mm, chip.y_mm)
    spots = []
    for channel, placed in enumerate(heater.bench.sensors):
        place = known.get(grid.seats[placed.where])
        if place is not None:
            reads = display.celsius(_degrees(record.channel_cdeg(channel)))
            spots.append(Spot(f"{names[channel]} {reads}", place.x_mm, place.y_mm))
    return spots


def _degrees(cdeg: int | None) -> float | None:
    return None if cdeg is None else cdeg / 100
