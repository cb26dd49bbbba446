"""How often the solder on a board became liquid, as far as records tell.

A pass is a time above liquidus: seen by a sensor on the board, or told by a person's marks (solder
moves, chip off, chip on) where no sensor was near the chip. It ends when every sensor has been
10 °C below. J-STD-020: a package is made for three passes, rework among them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emberbed.report.run_view import RunView, liquidus_c
from emberbed.store.run_store import RunStore
from emberbed_fw import messages
from emberbed_fw.plan import ROLE_ABSENT, ROLE_EMITTER

MOST_PASSES = 3
SOURCE = "J-STD-020"
END_C = 10.0
MOLTEN = (messages.MARK_SOLDER_MOVES, messages.MARK_CHIP_OFF, messages.MARK_CHIP_ON)


@dataclass(frozen=True)
class Passes:
    """`seen` by sensors, `marked` by a person alone, `unknown`: hot air of which nothing tells."""

    seen: int = 0
    marked: int = 0
    unknown: int = 0

    @property
    def told(self) -> int:
        return self.seen + self.marked

    def __add__(self, other: "Passes") -> "Passes":
        return Passes(
            self.seen + other.seen, self.marked + other.marked, self.unknown + other.unknown
        )


def passes_of(view: RunView) -> Passes | None:
    """Return the passes of one run, None where its solder is not in the book."""
    level_c = liquidus_c(view.profile)
    if level_c is None:
        return None
    hottest_c = _hottest(view)
    molten = [deed.at for deed in view.series.deeds if deed.mark in MOLTEN]
    marked = unknown = 0
    for spell in view.work.hot_air:
        within = [at for at in molten if spell.first <= at <= spell.last + 1]
        molten = [at for at in molten if at not in within]
        if not (hottest_c[spell.first : spell.last + 1] > level_c).any():
            marked, unknown = marked + bool(within), unknown + (not within)
    seen = _times_above(hottest_c, level_c)
    return Passes(seen, marked + bool(molten and not seen), unknown)


def _hottest(view: RunView) -> np.ndarray:
    """Return the hottest reading on the board in each record, minus infinity for none."""
    on_board = [
        view.series.channels_c[channel]
        for channel in view.names
        if view.plan is None
        or view.plan.header[f"role{channel}"] not in (ROLE_ABSENT, ROLE_EMITTER)
    ]
    readings_c = np.array([*on_board, np.full(len(view.series), -np.inf)])
    return np.where(np.isfinite(readings_c), readings_c, -np.inf).max(axis=0)


def _times_above(celsius: np.ndarray, level_c: float) -> int:
    known = celsius[(celsius > level_c) | (np.isfinite(celsius) & (celsius < level_c - END_C))]
    above = np.concatenate([[False], known > level_c])
    return int((above[1:] & ~above[:-1]).sum())


def linked_runs(store: RunStore, run_id: int) -> list[int]:
    """Return the runs that went on with each other after a mended trip, the first one first."""
    chain = [run_id]
    while (before := store.run(chain[0]).linked_to) is not None and before not in chain:
        chain.insert(0, before)
    while (after := store.goes_on_as(chain[-1])) is not None and after not in chain:
        chain.append(after)
    return chain


def passes_words(counted: Sequence[Passes | None], where: str) -> list[str]:
    """Return the sentences for a sheet; `where` says in which records was counted."""
    if None in counted:
        return [f"Passes above liquidus cannot be counted {where}: the solder is not known."]
    total = sum((one for one in counted if one), Passes())
    told = [f"Passes above liquidus on this board: {total.told} of {MOST_PASSES}, {where}."]
    if total.marked:
        told.append(f"Of these told by a person's mark, seen by no sensor: {total.marked}.")
    if total.unknown:
        told.append(
            "Hot air of which neither a sensor nor a mark tells whether the solder became liquid:"
            f" {total.unknown} times; count them as passes."
        )
    told.append(
        f"A package is made for {MOST_PASSES} passes, rework among them ({SOURCE}). Those in the"
        " factory and in other shops are in no record here."
    )
    return told
