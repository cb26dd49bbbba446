"""The heating runs of a job: how each ended, how long, how much energy; and its passes.

A run that was refused heated nothing and is left out. Runs that went on with each other after a
mended trip belong together, though only one of them was joined to the job.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from emberbed.jobs.model import Job
from emberbed.jobs.plain_entries import folded
from emberbed.profiles.limits import BOARD_J_PER_KG_K
from emberbed.report.passes import linked_runs, passes_of, passes_words
from emberbed.report.run_view import profile_data, view_of
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun
from emberbed_fw.units import TICKS_PER_S

BEFORE_HEAT = "before_heat"  # the kind of the event of what was confirmed on the page


@dataclass(frozen=True)
class HeatingRun:
    """`energy_j` is what the bottom heater took, None where the record cannot be read; `mass_g`
    is the board's as the profile says, None where it does not; `confirmed_utc` is when a person
    confirmed what has to be so before heat, None for never."""

    id: int
    started_utc: str
    ended_utc: str | None
    state: str
    profile: str
    limits_exceeded: int | None
    seconds: float
    energy_j: int | None
    mass_g: float | None
    simulated: bool
    confirmed_utc: str | None

    def capacity_j_per_k(self) -> float | None:
        """Return the board's heat capacity by its weight alone."""
        return None if self.mass_g is None else self.mass_g / 1000 * BOARD_J_PER_KG_K.value


def runs_of(store: RunStore, job: Job) -> list[HeatingRun]:
    """Return the runs of a job in their order, those that went on with them too."""
    return [_figures(store, run) for run in _stored_runs(store, run_numbers(store, job))]


def run_numbers(store: RunStore, job: Job) -> list[int]:
    """Return the numbers of all runs that belong to a job, in order."""
    return sorted({number for run_id in job.runs for number in linked_runs(store, run_id)})


def job_of_run(store: RunStore, jobs: Sequence[Job], run_id: int) -> Job | None:
    """Return the job that a run belongs to, None for none."""
    linked = set(linked_runs(store, run_id))
    return next((job for job in reversed(jobs) if linked & set(job.runs)), None)


def jobs_of_board(jobs: Sequence[Job], job: Job) -> list[Job]:
    """Return the jobs on the same board as `job`, itself too: those with its serial number.

    A board without one is known by its job alone.
    """
    if not job.serial:
        return [job]
    return [one for one in jobs if folded(one.serial) == folded(job.serial)]


def runs_of_board(store: RunStore, jobs: Sequence[Job], job: Job, simulated: bool) -> list[int]:
    """Return the ended runs of the board of `job`, of all its jobs; simulated ones or real ones."""
    same = jobs_of_board(jobs, job)
    numbers = sorted({number for one in same for number in run_numbers(store, one)})
    stored = _stored_runs(store, numbers)
    return [run.id for run in stored if run.state != "open" and run.simulated == simulated]


def passes_of_board(store: RunStore, jobs: Sequence[Job], job: Job) -> list[str]:
    """Return how often the solder of this board became liquid, in sentences; [] without runs.

    Simulated runs melt nothing: they are counted only where there are no others.
    """
    real = runs_of_board(store, jobs, job, simulated=False)
    numbers = real or runs_of_board(store, jobs, job, simulated=True)
    if not numbers:
        return []
    where = f"in its record{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"
    return passes_words([passes_of(view_of(store, number)) for number in numbers], where)


def _stored_runs(store: RunStore, numbers: Sequence[int]) -> list[StoredRun]:
    stored = [store.run(number) for number in numbers]
    return [run for run in stored if run.state != "refused"]


def _figures(store: RunStore, run: StoredRun) -> HeatingRun:
    board = profile_data(run.profile_toml).get("board")
    mass_g = board.get("mass_g") if isinstance(board, dict) else None
    confirmed = any(event.kind == BEFORE_HEAT for event in store.events(run.id))
    return HeatingRun(
        id=run.id,
        started_utc=run.started_utc,
        ended_utc=run.ended_utc,
        state=run.state,
        profile=run.profile_name,
        limits_exceeded=run.limits_exceeded,
        seconds=run.ticks / TICKS_PER_S,
        energy_j=_energy_j(store, run),
        mass_g=float(mass_g) if isinstance(mass_g, int | float) else None,
        simulated=run.simulated,
        confirmed_utc=run.started_utc if confirmed else None,
    )


def _energy_j(store: RunStore, run: StoredRun) -> int | None:
    if run.last_tick is None:
        return 0
    try:
        newest = next(store.records(run.id, run.last_tick), None)
    except StoreError:  # damaged: the audit says so
        return None
    return newest.energy_j if newest else None
