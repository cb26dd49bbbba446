"""What the commands about recorded runs share."""

from typing import Annotated

import typer

from emberbed.report import display
from emberbed.store.runs import RunSummary
from emberbed_fw.units import TICKS_PER_S

RunNumber = Annotated[str, typer.Argument(help="Number of the run, or 'last'.")]


def clock_at(run: RunSummary, tick: int | None) -> str:
    """Return when in its run a tick was, as the run's page shows it."""
    if tick is None or run.first_tick is None:
        return display.NOTHING
    return display.clock((tick - run.first_tick) / TICKS_PER_S)
