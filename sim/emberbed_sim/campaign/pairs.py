"""Pairs of faults: one more strikes while the device reacts to the first. The heat must stay off.

The first is any of the table's that trips on the usual setup; a moment after the trip comes any
other. Both switches failing closed together leave a program nothing to do: those pairs are left to
the hardware, and named.
"""

from random import Random
from typing import NamedTuple

from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.campaign.cells import DRAWN_AMOUNTS, DRAWS, event_of
from emberbed_sim.campaign.monitor import CONTACTOR, Allowed, Monitor
from emberbed_sim.campaign.outcomes import LINK_LOST, RESET, found_by
from emberbed_sim.campaign.phases import AFTER_END, BEFORE_PRESS, snapshots
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.setups import draw
from emberbed_sim.campaign.table import TRIP, USUAL, Cell, cells
from emberbed_sim.faults import KINDS, FaultEvent
from emberbed_sim.plant.fault_kind import ON_A_WIRE

CLOSED = ({"ssr_stuck_on", "ssr_leaks"}, {"contactor_welded"})
SECOND_WITHIN_S = 2.0
FOUND_WITHIN_S = 60.0
WATCHED_S = 8.0


class Pair(NamedTuple):
    """The cell of the first fault, and the name of the second."""

    first: Cell
    second: str

    @property
    def name(self) -> str:
        return f"{self.first.row} then {self.second}"


def pairs() -> list[Pair]:
    """Return every pair that a program can answer for."""
    seconds = [name for name, kind in KINDS.items() if kind.only != ON_A_WIRE]
    firsts = [
        cell
        for cell in cells()
        if cell.expect == TRIP
        and cell.phase not in BEFORE_PRESS + AFTER_END
        and cell.within_s <= FOUND_WITHIN_S
        and cell.share == 1  # else there may be no first trip to react to
        and cell.setup == USUAL
    ]
    return [
        Pair(first, second)
        for first in firsts
        for second in seconds
        if second != first.fault and not _both_closed(first.fault, second)
    ]


def left_to_hardware() -> list[str]:
    """Return the pairs that no program can answer for."""
    one, other = (sorted(names) for names in CLOSED)
    return [f"{first} and {second}" for first in one for second in other]


def run_pair(pair: Pair, seed: int) -> Result:
    """Run one pair; a miss is heat after the first trip, or no trip at all."""
    cell = pair.first
    loop = snapshots(cell.setup, seed)[cell.phase]
    first = event_of(cell, seed, loop.heater.elapsed_s)
    loop = loop.fork((first,))
    welded = "contactor_welded" in (cell.fault, pair.second)
    allowed = Allowed(cell.excused + ((CONTACTOR,) if welded else ()), FOUND_WITHIN_S, cell.limit_k)
    monitor = Monitor(loop, draw(cell.setup, seed).plan, (first,), allowed, cell.phase)
    begun_s, resets = loop.heater.elapsed_s, loop.resets
    found, found_s = "", 0.0
    while not found and loop.heater.elapsed_s - begun_s < FOUND_WITHIN_S:
        loop.step()
        monitor.step()
        found, found_s = found_by(loop, resets), loop.heater.elapsed_s
    if found:
        monitor.note_end()
        loop = loop.fork((_second(pair, seed, found_s),))
        monitor.follow(loop)
        for _record in loop.run(round(WATCHED_S * TICKS_PER_S)):
            monitor.step()
    miss = "" if found else "the first fault was not found"
    if (
        found not in ("", RESET, LINK_LOST)
        and not loop.resets - resets
        and found_by(loop, resets) != found
    ):
        miss = f"{found} did not stay the cause"
    if monitor.broken:
        miss = "the monitor saw " + ", ".join(monitor.broken)
    return Result(
        "pair", f"{cell.row} then {pair.second}", cell.phase, str(cell.setup), seed, "heat off",
        miss, found, found_s - begun_s if found else None, None, monitor.peak_c,
        monitor.plan.header["peak_cdeg"] / 100, monitor.over_limit_k, 0,
        loop.heater.elapsed_s - begun_s, monitor.last_heat_s is not None,
    )  # fmt: skip


def _second(pair: Pair, seed: int, now_s: float) -> FaultEvent:
    random = Random(f"second {pair.name} {seed}")
    amount = random.randrange(DRAWS) if pair.second in DRAWN_AMOUNTS else None
    return FaultEvent(pair.second, now_s + random.uniform(0.0, SECOND_WITHIN_S), None, amount)


def _both_closed(one: str, other: str) -> bool:
    """Tell whether both switches fail closed: then no program can take the heat away."""
    first, second = CLOSED
    return (one in first and other in second) or (one in second and other in first)
