"""What a job took: heat, hands, parts, in time and in money, and whether it paid.

A part that nobody has priced is not nothing: a sum with it in is marked as incomplete.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from emberbed.jobs.model import Job
from emberbed.jobs.prices import Prices
from emberbed.jobs.run_figures import HeatingRun

JOULES_PER_KWH = 3_600_000
MINUTES_PER_HOUR = 60
S_PER_MINUTE = 60


@dataclass(frozen=True)
class JobCosts:
    """`minutes` is the time of hands as typed, else the time of the heating runs
    (`minutes_told` False); None where there is neither. An amount is None where its price is not
    known; `missing` names what the total lacks."""

    energy_j: int | None
    heating_s: float
    minutes: int | None
    minutes_told: bool
    energy: Decimal | None
    hands: Decimal | None
    parts: Decimal | None
    missing: tuple[str, ...]
    worth: Decimal | None

    def total(self) -> Decimal:
        """Return what is known of the cost."""
        return sum((one for one in (self.energy, self.hands, self.parts) if one), Decimal(0))

    def gain(self, works: bool) -> Decimal | None:
        """Return what the job left over; None without a worth or with something missing."""
        if self.missing or (works and self.worth is None):
            return None
        return (self.worth or Decimal(0) if works else Decimal(0)) - self.total()


def costs_of(job: Job, runs: Sequence[HeatingRun], prices: Prices) -> JobCosts:
    """Return what a job took so far, at the prices of its time."""
    energies = [run.energy_j for run in runs]
    energy_j = None if None in energies else sum(one or 0 for one in energies)
    heating_s = sum((run.seconds for run in runs), 0.0)
    minutes = job.minutes
    if minutes is None and runs:
        minutes = round(heating_s / S_PER_MINUTE)
    energy = _energy(energy_j, prices.kwh)
    hands = _hands(minutes, prices.hour)
    part_costs = [part.cost() for part in job.parts]
    parts = (
        None if None in part_costs else sum((one or Decimal(0) for one in part_costs), Decimal())
    )
    lacking = {"energy": energy, "work": hands, "parts": parts}
    return JobCosts(
        energy_j=energy_j,
        heating_s=heating_s,
        minutes=minutes,
        minutes_told=job.minutes is not None,
        energy=energy,
        hands=hands,
        parts=parts,
        missing=tuple(name for name, one in lacking.items() if one is None),
        worth=job.worth,
    )


def _energy(energy_j: int | None, per_kwh: Decimal | None) -> Decimal | None:
    if energy_j == 0:
        return Decimal(0)
    if energy_j is None or per_kwh is None:
        return None
    return energy_j * per_kwh / JOULES_PER_KWH


def _hands(minutes: int | None, per_hour: Decimal | None) -> Decimal | None:
    if minutes == 0:
        return Decimal(0)
    if minutes is None or per_hour is None:
        return None
    return minutes * per_hour / MINUTES_PER_HOUR
