"""A board that a person describes, on the simulated heater: heat it needs, spread, best places.

An analysis command: it may import the simulation. Builds the board in two dimensions, warms it at
its class's ramp with as much power as there is, and holds it. degrees C, W, J/K, mm from the
board's middle. What it gives is as good as the simulated heater; a step test on yours tells more.
"""

from dataclasses import dataclass, replace

import numpy as np

from emberbed.builder.asked import COPPER_UM, CROWDED, BadBoard, BoardAsked
from emberbed.builder.classes import MassClass, mass_class
from emberbed_sim.plant.grid_board import Sheet, board_cells, sheet_of
from emberbed_sim.plant.grid_from_bench import CELLS, LEAST_CELL_MM, grid_bench
from emberbed_sim.plant.grid_parameters import (
    STEEL_J_KG_K,
    GridBench,
    GridBoard,
    MountedPart,
    Place,
    Stackup,
    chip_part,
)
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import (
    TICK_S,
    ZERO_C_K,
    BenchParameters,
    BoardParameters,
    ChipParameters,
    EmitterParameters,
)

SHIELD_KG_M2 = 2.5  # 0.2 mm of steel with its rim; from memory
SHIELD_CONTACT_W_M2_K = 60.0  # a soldered rim and the air inside; from memory
SHIELD_EMISSIVITY = 0.15  # metal parts (camera makers' tables)
BESIDE_MM = 8.0  # control sensor from the chip's rim: 5 to 10 mm, common practice, no source
CONTROL = "control"
HOLD_S = 600.0  # after it is reached: long enough for the spread to settle
LONGEST_WARM_UP_S = 2400.0
GAIN_W_PER_C = 40.0
INTEGRAL_S = 120.0
HALF_COVERED = 0.5  # of a cell, and no bead goes there
THROUGH_W_M_K = 0.3  # laminate across its layers; published 0.29 and 0.34


@dataclass(frozen=True)
class Built:
    """What the board is; `weighed` False: the mass is estimated from stack-up and parts."""

    asked: BoardAsked
    sheet: Sheet
    mass_g: float
    weighed: bool
    heat_j_k: float
    mass_class: MassClass
    bench: GridBench


@dataclass(frozen=True)
class Outlook:
    """What came of the simulated run; spots are (x_mm, y_mm, °C), `top_c` [y, x] at its end."""

    built: Built
    target_c: float
    given_w: float
    reached: bool
    warm_up_s: float
    hold_w: float
    control_c: float
    top_c: np.ndarray
    hottest: tuple[float, float, float]
    coldest: tuple[float, float, float]
    open_hottest: tuple[float, float, float]  # of the cells that no part covers
    open_coldest: tuple[float, float, float]
    chip_c: float
    shields_c: tuple[float, ...]
    control_mm: tuple[float, float]

    @property
    def spread_c(self) -> float:
        """Return hottest less coldest spot of the top."""
        return self.hottest[2] - self.coldest[2]


def build(asked: BoardAsked, heater_w: float, bank_mm: tuple[float, float]) -> Built:
    """Return the board as the simulation knows it. Raises BadBoard."""
    stackup = Stackup(asked.layers, COPPER_UM, asked.copper_percent / 100, asked.thickness_mm)
    try:
        sheet = sheet_of(stackup, THROUGH_W_M_K)
        chip = chip_part(ChipParameters(asked.chip_mm, asked.chip_mm))
        parts = (chip, *(_shield(n, asked) for n in range(len(asked.shields))))
        bare_g = float(sheet.areal_mass_kg_m2) * asked.area_m2 * 1e3
        mounted_g = sum(part.mass_g for part in parts)
        loose_g = CROWDED[asked.crowded] * asked.area_m2 * 1e3
        mass_g = asked.mass_g or bare_g + mounted_g + loose_g
        if mass_g < bare_g + mounted_g:
            raise BadBoard(
                f"--mass {mass_g:g} is less than the {bare_g + mounted_g:.0f} g that laminate,"
                " copper, chip and shields weigh; weigh it again, or mend the stack-up"
            )
        scale = BoardParameters(mass_g, asked.length_mm, asked.width_mm)
        emitter = EmitterParameters(heater_w, *bank_mm)
        bench = grid_bench(
            BenchParameters(
                emitter=emitter,
                board=scale,
                chip=ChipParameters(asked.chip_mm, asked.chip_mm),
            )
        )
        board = GridBoard(scale, stackup, parts, _cells(asked))
        bench = replace(bench, board=board, places=(Place(CONTROL, *_control_mm(asked)),))
        plant = GridPlant(bench)
    except ValueError as why:
        raise BadBoard(str(why)) from None
    heat_j_k = float(plant.heat_j_k[0][: plant.layout.bottom.stop].sum())
    areal = heat_j_k / asked.area_m2
    return Built(asked, sheet, mass_g, asked.mass_g is not None, heat_j_k, mass_class(areal), bench)


def outlook(built: Built, target_c: float, given_w: float) -> Outlook:
    """Warm the board to `target_c` with at most `given_w`, hold it, and look."""
    plant = GridPlant(built.bench)
    rate, integral_w, asked_c = (
        built.mass_class.ramp_c_per_s,
        0.0,
        plant.place_k(CONTROL) - ZERO_C_K,
    )
    reached_s, hold_j, watts = None, 0.0, 0.0
    ticks = 0
    while ticks * TICK_S < LONGEST_WARM_UP_S + HOLD_S:
        control_c = plant.place_k(CONTROL) - ZERO_C_K
        if reached_s is None and control_c >= target_c - 1.0:
            reached_s = ticks * TICK_S
        if reached_s is not None and ticks * TICK_S > reached_s + HOLD_S:
            break
        if reached_s is None and ticks * TICK_S > LONGEST_WARM_UP_S:
            break
        asked_c = min(target_c, asked_c + rate * TICK_S)
        error_c = asked_c - control_c
        wanted_w = GAIN_W_PER_C * error_c + integral_w
        watts = min(max(wanted_w, 0.0), given_w)
        if watts == wanted_w:  # it stops adding up where there is no more power
            integral_w += GAIN_W_PER_C * error_c * TICK_S / INTEGRAL_S
        if reached_s is not None and ticks * TICK_S > reached_s + HOLD_S / 2:
            hold_j += watts * TICK_S
        plant.step(watts)
        ticks += 1
    hold_w = hold_j / (HOLD_S / 2) if reached_s is not None else given_w
    return _look(built, plant, target_c, given_w, reached_s, hold_w, ticks * TICK_S)


def _look(
    built: Built,
    plant: GridPlant,
    target_c: float,
    given_w: float,
    reached_s: float | None,
    hold_w: float,
    elapsed_s: float,
) -> Outlook:
    top_c = plant.map_c()[0]
    board = built.bench.board
    bare = board_cells(board).bare.reshape(top_c.shape) > HALF_COVERED
    parts_c = [float(plant.state[0, n]) - ZERO_C_K for n in range(len(board.parts))]
    return Outlook(
        built,
        target_c,
        given_w,
        reached_s is not None,
        elapsed_s if reached_s is None else reached_s,
        hold_w,
        plant.place_k(CONTROL) - ZERO_C_K,
        top_c,
        _spot(board, top_c, int(np.argmax(top_c))),
        _spot(board, top_c, int(np.argmin(top_c))),
        _spot(board, top_c, int(np.argmax(np.where(bare, top_c, -np.inf)))),
        _spot(board, top_c, int(np.argmin(np.where(bare, top_c, np.inf)))),
        parts_c[0],
        tuple(parts_c[1:]),
        _control_mm(built.asked),
    )


def _spot(board: GridBoard, top_c: np.ndarray, at: int) -> tuple[float, float, float]:
    row, column = divmod(at, top_c.shape[1])
    x_low, _, y_low, _ = board.extent_mm
    return (
        x_low + (column + 0.5) * board.scale.length_mm / board.cells[0],
        y_low + (row + 0.5) * board.scale.width_mm / board.cells[1],
        float(top_c[row, column]),
    )


def _control_mm(asked: BoardAsked) -> tuple[float, float]:
    """Return where the control sensor sits: beside the chip, as far as there is board."""
    beside_mm = min(BESIDE_MM, (asked.length_mm - asked.chip_mm) / 4)
    return asked.chip_mm / 2 + beside_mm, 0.0


def _cells(asked: BoardAsked) -> tuple[int, int]:
    along, across = (
        max(1, min(most, int(size_mm / LEAST_CELL_MM)))
        for most, size_mm in zip(CELLS, (asked.length_mm, asked.width_mm), strict=True)
    )
    return along, across


def _shield(number: int, asked: BoardAsked) -> MountedPart:
    shield = asked.shields[number]
    mass_g = SHIELD_KG_M2 * shield.length_mm * shield.width_mm * 1e-3
    return MountedPart(
        f"shield {number + 1}",
        shield.length_mm,
        shield.width_mm,
        mass_g,
        SHIELD_CONTACT_W_M2_K,
        shield.x_mm,
        shield.y_mm,
        STEEL_J_KG_K,
        SHIELD_EMISSIVITY,
    )
