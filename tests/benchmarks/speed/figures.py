"""A figure beside what it is held against, both measured turn by turn in one run.

Only the ratio is a result: seconds are this machine's, on this day. Processor time, best of the
turns, so that others on the machine count little.
"""

import resource
import time
from collections.abc import Callable, Sequence
from typing import NamedTuple

TURNS = 3


class Figure(NamedTuple):
    """`ratio` says how many times cheaper ours is; below 1 theirs is."""

    name: str  # of the committed ratio
    what: str
    ours: str  # the value with its unit
    against: str
    theirs: str
    ratio: float


def best_s(*calls: Callable[[], object], turns: int = TURNS) -> list[float]:
    """Return the processor's seconds of each call, after one turn that is not counted."""
    taken: list[list[float]] = [[] for _call in calls]
    for turn in range(turns + 1):
        for call, some in zip(calls, taken, strict=True):
            began_s = time.process_time()
            call()
            if turn:
                some.append(time.process_time() - began_s)
    return [min(some) for some in taken]


def children_s(call: Callable[[], object]) -> float:
    """Return the processor's seconds that the processes of a call took, once they have ended."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    call()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def shown_s(seconds: float) -> str:
    """Return a time in the unit that reads best."""
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds / 1e-9:.3g} ns"


def shown_rate(per_s: float, what: str) -> str:
    return f"{per_s:.2g} {what}/s"


def against_all(
    name: str, what: str, ours_s: float, others: Sequence[tuple[str, str, float]]
) -> list[Figure]:
    """Return a figure for each (name, words, seconds) that ours is held against."""
    return [
        Figure(f"{name}/{other}", what, shown_s(ours_s), words, shown_s(their_s), their_s / ours_s)
        for other, words, their_s in others
    ]
