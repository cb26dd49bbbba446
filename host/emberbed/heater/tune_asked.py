"""What `emberbed tune` was asked for: published rules, few or many, refined or not."""

import os

from emberbed.heater.firmware_trial import CannotTry
from emberbed.heater.gain_designs import DESIGNS, MORE_DESIGNS
from emberbed.heater.heater_file import HeaterFile
from emberbed.heater.tune import Tuning, tune
from emberbed.heater.tune_refined import QUICK, Effort, NotRefined, Tell, refine

MOST_WORKERS = 8  # processes; more would only wait for one another


def effort_of(refines: bool, quick: bool, plants: int | None, seed: int) -> Effort | None:
    """Return how hard to refine, None for not at all."""
    if not refines:
        return None
    usual = QUICK if quick else Effort()
    workers = min(os.cpu_count() or 1, MOST_WORKERS)
    return usual._replace(
        plants=usual.plants if plants is None else plants, seed=seed, workers=workers
    )


def tuned(
    heater: HeaterFile, more: bool, effort: Effort | None, tell: Tell
) -> tuple[Tuning, str | None]:
    """Return the tuning, and a sentence if the published rules have the last word unasked."""
    tuning = tune(heater, (*DESIGNS, *MORE_DESIGNS) if more else DESIGNS)
    if effort is None:
        return tuning, None
    try:
        return refine(heater, tuning, effort, tell), None
    except (CannotTry, NotRefined) as why:
        return tuning, f"Not refined: {why}. The published rules decide."
