"""How often repairs succeed, by profile, type of board and class of board, and whether they pay.

A job counts once it is closed, has heated and was tried; it succeeds if the board works, working in
part is no success. It counts under the profile of its last run. The share comes with its interval
of 95 % confidence by Wilson's score method (E. B. Wilson 1927), as few jobs tell little: 4 of 4 is
anything above a half.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from emberbed.jobs.costs import JobCosts
from emberbed.jobs.model import NOT_TRIED, WORKS, Job
from emberbed.jobs.run_figures import HeatingRun
from emberbed.learn.mass_class import mass_class_of

CONFIDENCE = 0.95
BY_PROFILE, BY_BOARD, BY_CLASS = "profile", "board", "class"
NOT_TOLD = "not told"


@dataclass(frozen=True)
class DoneJob:
    """A job with what it took."""

    job: Job
    runs: Sequence[HeatingRun]
    costs: JobCosts

    def counts(self, simulated: bool) -> bool:
        """Tell whether it says something about success on real (or simulated) heaters."""
        tried = self.job.outcome not in (None, NOT_TRIED)
        return tried and bool(self.runs) and all(run.simulated == simulated for run in self.runs)

    def works(self) -> bool:
        return self.job.outcome == WORKS

    def profile(self) -> str:
        return self.runs[-1].profile

    def mass_class(self) -> str:
        """Return the class of the board by the weight in the profile of the last run."""
        capacity = self.runs[-1].capacity_j_per_k()
        return NOT_TOLD if capacity is None else mass_class_of(capacity)


KEYS: dict[str, Callable[[DoneJob], str]] = {
    BY_PROFILE: DoneJob.profile,
    BY_BOARD: lambda done: done.job.board,
    BY_CLASS: DoneJob.mass_class,
}


@dataclass(frozen=True)
class GroupFigures:
    """`group` holds a name for each key asked for. `low` and `high` bound the share of successes.

    Means are over the jobs of which they are known, None where that is none. `gain` is what all
    jobs left over together, None as long as one of them lacks a price or a worth; `priced` is the
    number of jobs that lack none.
    """

    group: tuple[str, ...]
    jobs: int
    works: int
    low: float
    high: float
    mean_energy_j: float | None
    mean_heating_s: float
    mean_minutes: float | None
    mean_cost: Decimal | None
    cost_per_success: Decimal | None
    gain: Decimal | None
    priced: int


def share_interval(works: int, jobs: int) -> tuple[float, float]:
    """Return the Wilson interval of a share; `jobs` is at least 1."""
    from scipy.stats import binomtest  # takes a while: only when it is needed

    interval = binomtest(works, jobs).proportion_ci(CONFIDENCE, method="wilson")
    return float(interval.low), float(interval.high)


def statistics(
    done: Iterable[DoneJob], keys: Sequence[str], simulated: bool = False
) -> list[GroupFigures]:
    """Return the figures of each group of jobs, the largest group first."""
    groups: dict[tuple[str, ...], list[DoneJob]] = {}
    for one in done:
        if one.counts(simulated):
            groups.setdefault(tuple(KEYS[key](one) for key in keys), []).append(one)
    figures = [_figures(group, members) for group, members in groups.items()]
    return sorted(figures, key=lambda one: (-one.jobs, one.group))


def _figures(group: tuple[str, ...], members: list[DoneJob]) -> GroupFigures:
    works = sum(one.works() for one in members)
    costs = [one.costs for one in members]
    totals = [one.total() for one in costs if not one.missing]
    gains = [one.costs.gain(one.works()) for one in members]
    known_gains = [gain for gain in gains if gain is not None]
    all_priced = len(totals) == len(members)
    return GroupFigures(
        group,
        len(members),
        works,
        *share_interval(works, len(members)),
        mean_energy_j=_mean([one.energy_j for one in costs if one.energy_j is not None]),
        mean_heating_s=sum(one.heating_s for one in costs) / len(costs),
        mean_minutes=_mean([one.minutes for one in costs if one.minutes is not None]),
        mean_cost=sum(totals, Decimal(0)) / len(totals) if totals else None,
        cost_per_success=sum(totals, Decimal(0)) / works if works and all_priced else None,
        gain=sum(known_gains, Decimal(0)) if len(known_gains) == len(members) else None,
        priced=len(totals),
    )


def _mean(values: list[int]) -> float | None:
    return sum(values) / len(values) if values else None
