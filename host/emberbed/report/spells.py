"""Stretches of a run in which a person had changed what it does: held here, or hot air on.

Takes a run as columns; gives indexes of records, both ends included. From the record alone: what
the device waited for, its state, and what a person did in which tick.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from emberbed.profiles.compile import Plan
from emberbed.report.deed_kinds import STANDING
from emberbed.report.series import RunSeries
from emberbed_fw import messages, run_states
from emberbed_fw.plan import HOT_AIR

_TURNS = (*STANDING, messages.GO_ON)


class Spell(NamedTuple):
    """Records first..last; `touch` is the change that began it, 0 where it is not known."""

    first: int
    last: int
    touch: int = 0


def held_spells(series: RunSeries) -> list[Spell]:
    """Return when a person held the temperature where it was, each time on its own.

    The device's question whether to hold on belongs to it; the end of holding does not.
    """
    turns = {deed.at: deed.touch for deed in series.deeds if deed.touch in _TURNS}
    held = series.waits_for == run_states.WAITS_HELD
    stands = held | (series.waits_for == run_states.WAITS_ANSWER)
    spells: list[Spell] = []
    for first, last in runs_of(stands, series.stage):
        cuts = [at for at in range(first, last + 1) if at in turns] if turns else []
        for start, end in zip([first, *cuts], [*cuts, last + 1], strict=True):
            within = np.flatnonzero(held[start:end])
            if len(within) and turns.get(start) != messages.GO_ON:
                begun = start + int(within[0])
                touch = turns.get(start, 0)
                spells.append(Spell(begun, end - 1, touch if touch in STANDING else 0))
    return spells


def hot_air_spells(series: RunSeries, plan: Plan | None) -> list[Spell]:
    """Return when hot air from above was on: in its own stage, or between its two marks."""
    spells = []
    if plan is not None:
        kinds = [stage["kind"] for stage in plan.stages]
        stages = [number for number, kind in enumerate(kinds) if kind == HOT_AIR]
        # the stage waits for the nozzle first; answered, it runs
        on = np.isin(series.stage, stages) & (series.state == run_states.RUN)
        spells = [Spell(first, last) for first, last in runs_of(on, series.stage)]
    marked = marked_pairs(series, messages.MARK_NOZZLE_ON, messages.MARK_AIR_AWAY)
    apart = [
        Spell(pair.first, max(pair.first, pair.last - 1))
        for pair in marked
        if all(pair.last < spell.first or pair.first > spell.last for spell in spells)
    ]
    return sorted([*spells, *apart])


def marked_pairs(series: RunSeries, begins: int, ends: int) -> list[Spell]:
    """Return the spells from each mark `begins` to the next mark `ends`; the latest of several
    beginnings counts."""
    spells = []
    begun: int | None = None
    for deed in series.deeds:
        if deed.mark == begins:
            begun = deed.at
        elif deed.mark == ends and begun is not None:
            spells.append(Spell(begun, deed.at))
            begun = None
    return spells


def runs_of(mask: np.ndarray, same: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield (first, last) of each stretch in which `mask` is true and `same` does not change."""
    at = np.flatnonzero(mask)
    if not len(at):
        return
    breaks = (np.diff(at) > 1) | (np.diff(same[at]) != 0)
    for piece in np.split(at, np.flatnonzero(breaks) + 1):
        yield int(piece[0]), int(piece[-1])
