"""Robust refinement: gains around the published ones, judged in the firmware on drawn heaters.

`refine` tries every candidate of a tuning on the identified heater, those that come to its end on
the whole set, then searches from the best of them: Kc, Ti, Td and preview up and down, a step that
shrinks. Only gains that the device takes and whose Ms on the identified heater is at most MOST_MS
are looked at. What is found is never worse on the set than any candidate inside that bound, for it
starts from the best of them. The cost of gains is that of their worst heater, so that a neighbour
that is no better on the heater that is worst now needs no other run.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from math import ceil, inf
from multiprocessing import get_context
from typing import NamedTuple

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import TICK_S, device_gains, held, refusal
from emberbed.heater.firmware_trial import Figures, FirmwareTrial, figures, made_trial, worst
from emberbed.heater.heater_file import HeaterFile
from emberbed.heater.tune import MOST_MS, Candidate, Tuning, worst_margins
from emberbed.heater.tuning_rules import Ideal
from emberbed_fw.plan import MAX_PREVIEW_TICKS

REFINED = "refined"
STEPS = (1.6, 1.25)  # factors; the next is taken when the one before finds nothing better
FIRST_TD = 1 / 8  # of Ti, where a PI gets its derivative
Tell = Callable[[str, float], None]
Map = Callable[..., Iterator]


class Effort(NamedTuple):
    """How many heaters are drawn beside the identified one, and how often a step is tried."""

    plants: int = 8
    sweeps: int = 3
    seed: int = 1
    workers: int = 1


QUICK = Effort(plants=3, sweeps=2)


class NotRefined(Exception):
    """Why a tuning stays with the published rules: one sentence."""


class _Found(NamedTuple):
    gains: Gains
    each: tuple[Figures, ...]  # by situation

    @property
    def cost_c(self) -> float:
        return max(one.cost_c for one in self.each)

    @property
    def hardest(self) -> int:
        """Return the situation that costs most."""
        return max(range(len(self.each)), key=lambda n: self.each[n].cost_c)


def refine(
    heater: HeaterFile, tuning: Tuning, effort: Effort, tell: Tell = lambda _what, _part: None
) -> Tuning:
    """Return the tuning with every candidate's figures in the firmware, and the refined one.

    Raises CannotTry for a heater on which nothing can be tried, NotRefined where no candidate
    stands inside the bounds.
    """
    trial = made_trial(heater, effort.plants, effort.seed)
    with _pool(effort.workers) as spread:
        tried = _tried(trial, tuning, spread, tell)
        within = [one for one in tried if one.in_firmware and one.margins.ms <= MOST_MS]
        if not within:
            raise NotRefined(f"no rule's gains have an Ms of {MOST_MS:g} or less")
        base = min(within, key=lambda one: worst(one.in_firmware).cost_c)
        begin = _Found(base.gains, base.in_firmware)
        if begin.cost_c == inf:
            raise NotRefined("no rule's gains bring every heater as likely as this one to the end")
        found = _searched(trial, tuning, begin, effort.sweeps, spread, tell)
    margins = worst_margins(tuning.processes, found.gains)
    refined = Candidate(
        f"{REFINED} from {base.rule}", found.gains, margins, worst(found.each).overshoot_c,
        base.iae_c_s, None, True, found.each,
    )  # fmt: skip
    return replace(tuning, candidates=(*tried, refined), trial=trial)


def _tried(trial: FirmwareTrial, tuning: Tuning, spread: Map, tell: Tell) -> list[Candidate]:
    """Return the candidates with their figures: of one run where that one has no end."""
    taken = [one.gains for one in tuning.candidates if one.refusal is None]
    tell(f"{len(taken)} rules in the firmware, on this heater", 0.0)
    firsts = dict(zip(taken, spread(partial(figures, trial, situation=0), taken), strict=True))
    ending = [gains for gains, first in firsts.items() if first.cost_c < inf]
    others = range(1, len(trial.situations))
    runs = [(gains, n) for gains in ending for n in others]
    what = f"{len(ending)} rules that come to the end, on {len(others)} heaters as likely"
    done = _told(what, spread(partial(_one, trial), runs), tell, len(runs))
    each = {gains: [first] for gains, first in firsts.items()}
    for (gains, _n), found in zip(runs, done, strict=True):
        each[gains].append(found)
    return [
        one if one.refusal is not None else replace(one, in_firmware=tuple(each[one.gains]))
        for one in tuning.candidates
    ]


def _searched(
    trial: FirmwareTrial, tuning: Tuning, best: _Found, sweeps: int, spread: Map, tell: Tell
) -> _Found:
    seen = {best.gains}
    steps = list(STEPS)
    for sweep in range(sweeps):
        near = [
            one
            for one in _neighbours(best.gains, steps[0], tuning, not trial.planned)
            if one not in seen
        ]
        seen.update(near)
        tell(
            f"search {sweep + 1} of {sweeps}: {len(near)} gains near the best (cost"
            f" {best.cost_c:.2f} °C)",
            0.5 + 0.5 * sweep / sweeps,
        )
        better = _best_of(trial, near, best, spread)
        if better is not None:
            best = better
        elif len(steps) > 1:
            steps.pop(0)
        else:
            break
    return best


def _best_of(
    trial: FirmwareTrial, near: Sequence[Gains], best: _Found, spread: Map
) -> _Found | None:
    """Return the best of some gains on the whole set, None where none is better than `best`."""
    hardest = best.hardest
    others = [n for n in range(len(trial.situations)) if n != hardest]
    try_hardest = partial(figures, trial, situation=hardest, most_cost_c=best.cost_c)
    firsts = list(zip(spread(try_hardest, near), near, strict=True))
    found = None
    for first, gains in sorted(firsts, key=lambda one: one[0].cost_c):
        below_c = (found or best).cost_c
        if first.cost_c >= below_c:
            break
        try_others = partial(figures, trial, gains, most_cost_c=below_c)
        each = list(spread(try_others, others))
        each.insert(hardest, first)
        tried = _Found(gains, tuple(each))
        if tried.cost_c < below_c:
            found = tried
    return found


def _neighbours(gains: Gains, step: float, tuning: Tuning, previews: bool = True) -> list[Gains]:
    """Return the gains one step away that stand inside the bounds, each once, as they are held;
    with `previews`, other previews too (a planned run takes none)."""
    found: dict[Gains, None] = {}
    for wanted in _around(gains, step):
        if not previews:
            wanted = wanted._replace(preview_ticks=gains.preview_ticks)
        left = held(wanted)
        if refusal(wanted) is not None or left == gains or left in found:
            continue
        if worst_margins(tuning.processes, left).ms <= MOST_MS:
            found[left] = None
    return list(found)


def _around(gains: Gains, step: float) -> Iterator[Gains]:
    kc, ki, kd = gains[:3]
    if not kc or not ki:
        return
    ti_s, td_s, preview_s = kc / ki, kd / kc, gains.preview_ticks * TICK_S
    for by in (step, 1 / step):
        yield _gains(kc * by, ti_s, td_s, preview_s)
        yield _gains(kc, ti_s * by, td_s, preview_s)
        if td_s:
            yield _gains(kc, ti_s, td_s * by, preview_s)
            yield _gains(kc, ti_s, td_s, preview_s * by)
    if not td_s:
        first_s = FIRST_TD * ti_s
        yield _gains(kc, ti_s, first_s, first_s)


def _gains(kc: float, ti_s: float, td_s: float, preview_s: float) -> Gains:
    made = device_gains(Ideal(kc, ti_s, td_s), preview_s)
    ticks = min(ceil(preview_s / TICK_S - 1e-6), MAX_PREVIEW_TICKS) if td_s else 0
    return made._replace(preview_ticks=ticks)


def _one(trial: FirmwareTrial, run: tuple[Gains, int]) -> Figures:
    return figures(trial, *run)


def _told(what: str, done: Iterator, tell: Tell, count: int) -> Iterator:
    for n, one in enumerate(done, 1):
        tell(f"{what}: run {n} of {count}", 0.1 + 0.4 * n / count)
        yield one


@contextmanager
def _pool(workers: int) -> Iterator[Map]:
    """Give a map over several processes, or the plain one; results come in order."""
    if workers < 2:
        yield map
        return
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        yield pool.map
