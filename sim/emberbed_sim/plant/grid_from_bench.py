"""A gridded bench made from what a lumped one is declared by: weight, ruler, heater, sensors.

Takes BenchParameters, gives a GridBench with one bank of emitters and the chip in the board's
middle. What the lumped bench says in one number is shared out as the grid's own defaults do.
"""

from collections.abc import Sequence
from dataclasses import replace

from emberbed_sim.plant.grid_emitters import KINDS, EmitterKind, GridEmitter
from emberbed_sim.plant.grid_parameters import (
    GridBench,
    GridBoard,
    GridSurroundings,
    JetShape,
    Place,
    chip_part,
)
from emberbed_sim.plant.nozzle import BESIDE_MM
from emberbed_sim.plant.parameters import (
    BenchParameters,
    EmitterParameters,
    NozzleParameters,
    SurroundingsParameters,
)

CONTROL_PLACE = "beside_chip"  # where a sensor at `board_centre` sits on a grid
CELLS = (24, 12)
LEAST_CELL_MM = 5.0  # smaller ones follow faster than the tick on copper-rich boards


def grid_bench(bench: BenchParameters, strengths: Sequence[float] = (1.0,)) -> GridBench:
    """Return this bench with its board in two dimensions.

    The bank is built of equal emitters side by side along x, one for each of `strengths`: what it
    gives of its rated power, 0 to 1; or, in two zones, of a middle and four around it.
    """
    board = GridBoard(bench.board, parts=(chip_part(bench.chip),), cells=_cells(bench))
    return GridBench(
        board,
        _bank(bench.emitter, strengths),
        bench.emitter.gap_mm,
        _surroundings(bench.surroundings),
        _jet(bench.nozzle),
        places=(Place(CONTROL_PLACE, beside_mm(bench), 0.0),),
    )


def beside_mm(bench: BenchParameters) -> float:
    """Return how far from the chip's middle the control sensor sits: nearer on a small board."""
    between_mm = (bench.chip.length_mm + bench.board.length_mm) / 4
    return min(BESIDE_MM, between_mm)


def _cells(bench: BenchParameters) -> tuple[int, int]:
    along, across = (
        max(1, min(most, int(size_mm / LEAST_CELL_MM)))
        for most, size_mm in zip(CELLS, bench.board.size_mm, strict=True)
    )
    return along, across


def _bank(emitter: EmitterParameters, strengths: Sequence[float]) -> tuple[GridEmitter, ...]:
    area_m2 = emitter.length_mm * emitter.width_mm * 1e-6
    kind = replace(
        KINDS["quartz"],
        emissivity=emitter.emissivity,
        heat_j_m2_k=emitter.heat_capacity_j_k / area_m2,
        convection_w_m2_k=emitter.convection_w_k / area_m2,
    )
    if emitter.middle_watts:
        if tuple(strengths) != (1.0,):
            raise ValueError("A bank in two zones is not a row; leave its emitters' strengths out.")
        return _middle_and_rim(emitter, kind)
    count = len(strengths)
    length_mm = emitter.length_mm / count
    return tuple(
        GridEmitter(
            kind,
            emitter.watts / count,
            x_mm=length_mm * (number - (count - 1) / 2),
            length_mm=length_mm,
            width_mm=emitter.width_mm,
            strength=strength,
        )
        for number, strength in enumerate(strengths)
    )


def _middle_and_rim(emitter: EmitterParameters, kind: EmitterKind) -> tuple[GridEmitter, ...]:
    """Return the middle as zone 0, and two ends and two strips around it, alike per area, as 1."""
    (length_mm, width_mm), (middle_w, rim_w) = emitter.middle_mm, emitter.zone_watts
    end_mm, strip_mm = (emitter.length_mm - length_mm) / 2, (emitter.width_mm - width_mm) / 2
    w_per_mm2 = rim_w / (emitter.length_mm * emitter.width_mm - length_mm * width_mm)
    ends = (
        GridEmitter(
            kind, w_per_mm2 * end_mm * emitter.width_mm, x_mm=side * (length_mm + end_mm) / 2,
            length_mm=end_mm, width_mm=emitter.width_mm, zone=1,
        )
        for side in (-1, 1)
    )  # fmt: skip
    strips = (
        GridEmitter(
            kind, w_per_mm2 * strip_mm * length_mm, y_mm=side * (width_mm + strip_mm) / 2,
            length_mm=length_mm, width_mm=strip_mm, zone=1,
        )
        for side in (-1, 1)
    )  # fmt: skip
    middle = GridEmitter(kind, middle_w, length_mm=length_mm, width_mm=width_mm)
    return middle, *ends, *strips


def _surroundings(around: SurroundingsParameters) -> GridSurroundings:
    """Share out heat capacity and loss between housing and what is above as the defaults do."""
    usual, grid = SurroundingsParameters(), GridSurroundings()
    heat = around.heat_capacity_j_k / usual.heat_capacity_j_k
    loss = around.loss_w_k / usual.loss_w_k
    return GridSurroundings(
        around.room_c,
        grid.housing_j_k * heat,
        grid.above_j_k * heat,
        grid.housing_loss_w_k * loss,
        grid.above_loss_w_k * loss,
        grid.exchange_w_k,
    )


def _jet(nozzle: NozzleParameters) -> JetShape:
    """Return the grid's jet, stronger or weaker as the lumped nozzle is over its chip."""
    shape = JetShape()
    strength = nozzle.chip_w_m2_k / NozzleParameters.chip_w_m2_k
    return replace(shape, middle_w_m2_k=shape.middle_w_m2_k * strength)
