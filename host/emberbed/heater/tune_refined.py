"""Robust refinement: gains around the published ones, judged in the firmware on drawn heaters.

`refine` tries every candidate of a tuning on the whole set, then searches from the best of them:
Kc, Ti, Td and preview up and down, a step that shrinks. Only gains that the device takes and whose
Ms on the identified heater is at most MOST_MS are looked at. What is found is never worse
on the set than any candidate inside that bound, for it starts from the best of them.
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
    def hardest_first(self) -> tuple[int, ...]:
        return tuple(sorted(range(len(self.each)), key=lambda n: -self.each[n].cost_c))


def refine(
    heater: HeaterFile, tuning: Tuning, effort: Effort, tell: Tell = lambda _what, _part: None
) -> Tuning:
    """Return the tuning with every candidate's figures in the firmware, and the refined one.

    Raises CannotTry for a heater on which nothing can be tried, NotRefined where no candidate
    stands inside the bounds.
    """
    trial = made_trial(heater, effort.plants, effort.seed)
    everywhere = tuple(range(len(trial.situations)))
    with _pool(effort.workers) as spread:
        tell("trying the published rules", 0.0)
        runs = [(one.gains, n) for one in tuning.candidates if one.refusal is None
                for n in everywhere]  # fmt: skip
        done = iter(_told(spread(partial(_one, trial), runs), tell, len(runs)))
        tried = [
            one if one.refusal is not None
            else replace(one, in_firmware=tuple(next(done) for _n in everywhere))
            for one in tuning.candidates
        ]  # fmt: skip
        within = [one for one in tried if one.in_firmware and one.margins.ms <= MOST_MS]
        if not within:
            raise NotRefined(f"no rule's gains have an Ms of {MOST_MS:g} or less")
        begin = min((_Found(one.gains, one.in_firmware) for one in within), key=lambda f: f.cost_c)
        if begin.cost_c == inf:
            raise NotRefined("no rule's gains bring every heater as likely as this one to the end")
        found = _searched(trial, tuning, begin, effort.sweeps, spread, tell)
    margins = worst_margins(tuning.processes, found.gains)
    base = next(one for one in within if one.gains == begin.gains)
    refined = Candidate(
        f"{REFINED} from {base.rule}", found.gains, margins, worst(found.each).overshoot_c,
        base.iae_c_s, None, True, found.each,
    )  # fmt: skip
    return replace(tuning, candidates=(*tried, refined), trial=trial)


def _searched(
    trial: FirmwareTrial, tuning: Tuning, best: _Found, sweeps: int, spread: Map, tell: Tell
) -> _Found:
    seen = {best.gains}
    steps = list(STEPS)
    for sweep in range(sweeps):
        tell(f"refining: worst cost {best.cost_c:.2f} °C", 0.5 + 0.5 * sweep / sweeps)
        near = [one for one in _neighbours(best.gains, steps[0], tuning) if one not in seen]
        seen.update(near)
        tried = list(spread(partial(_better, trial, best.hardest_first, best.cost_c), near))
        better = [one for one in tried if one is not None]
        if better:
            best = min(better, key=lambda one: one.cost_c)
        elif len(steps) > 1:
            steps.pop(0)
        else:
            break
    return best


def _neighbours(gains: Gains, step: float, tuning: Tuning) -> list[Gains]:
    """Return the gains one step away that stand inside the bounds, each once, as they are held."""
    found: dict[Gains, None] = {}
    for wanted in _around(gains, step):
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


def _better(
    trial: FirmwareTrial, hardest_first: Sequence[int], below_c: float, gains: Gains
) -> _Found | None:
    """Try gains on the whole set, the hardest first; None as soon as they are no better."""
    each: dict[int, Figures] = {}
    for n in hardest_first:
        each[n] = figures(trial, gains, n)
        if each[n].cost_c >= below_c:
            return None
    return _Found(gains, tuple(each[n] for n in sorted(each)))


def _told(done: Iterator, tell: Tell, count: int) -> Iterator:
    for n, one in enumerate(done, 1):
        tell("trying the published rules", 0.5 * n / count)
        yield one


@contextmanager
def _pool(workers: int) -> Iterator[Map]:
    """Give a map over several processes, or the plain one; results come in order."""
    if workers < 2:
        yield map
        return
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        yield pool.map
