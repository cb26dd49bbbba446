"""The work of a campaign in pieces. A `Task` is plain data and the same everywhere.

Whoever runs one needs this package and the firmware; benches and plans it draws itself, or is given
(`draws_of` says which).
"""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, NamedTuple

from emberbed_sim.campaign.cells import run_cell
from emberbed_sim.campaign.healthy import draw_of, run_healthy
from emberbed_sim.campaign.pairs import Pair, run_pair
from emberbed_sim.campaign.phases import PhaseError
from emberbed_sim.campaign.results import Result, failed
from emberbed_sim.campaign.same_bits import Case
from emberbed_sim.campaign.setups import Draw
from emberbed_sim.campaign.table import Cell

CELLS_A_TASK, HEALTHY_A_TASK, PAIRS_A_TASK = 60, 10, 100
MANY_SEEDS, CELLS_OF_MANY = 10, 300  # then each seed's healthy run serves more cells


class Task(NamedTuple):
    """Cells with one seed, pairs with one seed, healthy seeds, or cases to be run in both engines.

    Where only one engine is there, nothing is compared.
    """

    cells: tuple[Cell, ...] = ()
    pairs: tuple[Pair, ...] = ()
    seed: int = 0
    healthy: tuple[int, ...] = ()
    compare: tuple[Case, ...] = ()


def tasks_of(
    cells: list[Cell], seeds: range, pairs: list[Pair], healthy: range, compared: int = 0
) -> list[Task]:
    """Return the work, cells of one setup together: they share a healthy run. So many cells, evenly
    spread, are compared between engines."""
    found = [Task(compare=(Case(cell, seeds[0]),)) for cell in spread(cells, compared)]
    most = CELLS_A_TASK if len(seeds) < MANY_SEEDS else CELLS_OF_MANY
    found += [
        Task(cells=tuple(some), seed=seed)
        for seed in seeds
        for _setup, own in groupby(sorted(cells, key=_setup_of), key=_setup_of)
        for some in _batched(list(own), most)
    ]
    found += [Task(healthy=tuple(some)) for some in _batched(healthy, HEALTHY_A_TASK)]
    for number, some in enumerate(_batched(sorted(pairs, key=_phase_of), PAIRS_A_TASK)):
        found.append(Task(pairs=tuple(some), seed=seeds[number % len(seeds)]))
    return found


def spread(things: Sequence[Any], count: int) -> list[Any]:
    """Return so many of all things, evenly spread over them."""
    return [things[n * len(things) // count] for n in range(min(count, len(things)))]


def draws_of(task: Task) -> set[Draw]:
    """Return every bench and plan that this piece stands on."""
    setups = {cell.setup for cell in task.cells} | {pair.first.setup for pair in task.pairs}
    return {Draw(setup, task.seed) for setup in setups} | {draw_of(seed) for seed in task.healthy}


def run_task(task: Task) -> list[Result]:
    """Do one piece; a healthy run that does not come to a phase is a miss of each of its cells."""
    results = [run_healthy(seed) for seed in task.healthy]
    for cell in task.cells:
        try:
            results.append(run_cell(cell, task.seed))
        except PhaseError as error:
            results.append(failed("cell", cell, task.seed, str(error)))
    for pair in task.pairs:
        results.append(run_pair(pair, task.seed))
    return results


def _setup_of(cell: Cell) -> str:
    return str(cell.setup)


def _phase_of(pair: Pair) -> str:
    return pair.first.phase


def _batched(things: Sequence[Any], size: int) -> Iterator[Sequence[Any]]:
    for start in range(0, len(things), size):
        yield things[start : start + size]
