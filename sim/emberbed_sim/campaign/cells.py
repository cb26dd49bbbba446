"""One cell with one seed: a fork of the phase's snapshot, the fault, and the verdict.

The verdict is "" or the reason for which this is a miss. Same cell, same seed: same result.
"""

from random import Random

from emberbed_sim.campaign.monitor import LYING, TOO_HOT, Allowed, Monitor
from emberbed_sim.campaign.outcomes import Outcome, watch
from emberbed_sim.campaign.phases import (
    AFTER_END,
    BEFORE_PRESS,
    IDLE,
    STOPPING,
    snapshots,
    strike,
)
from emberbed_sim.campaign.results import Result, result_of
from emberbed_sim.campaign.setups import draw
from emberbed_sim.campaign.table import (
    BOUNDED,
    HARMLESS,
    NOT_DETECTABLE,
    REFUSED,
    TRIP,
    Cell,
)
from emberbed_sim.faults import KINDS, FaultEvent

LATEST_S = 1.0  # after the phase's snapshot: no fault keeps to the firmware's seconds
PRESSED_BY_S = 8.0  # after arming there is heat, if there ever is
UNJUDGED = (LYING, TOO_HOT)  # where an expectation of its own says how hot it may get
DRAWS = 10000
DRAWN_AMOUNTS = ("plan_bit_flips", "settings_bit_flips", "limit_bit_flips", "memory_bit_flips")


def run_cell(cell: Cell, seed: int) -> Result:
    """Run it and judge."""
    loop = snapshots(cell.setup, seed)[cell.phase]
    event = event_of(cell, seed, loop.heater.elapsed_s)
    loop = loop.fork((event,))
    before_press = cell.phase in BEFORE_PRESS
    excused = cell.excused + (UNJUDGED if is_judged_apart(cell) else ())
    allowed = Allowed(excused, cell.lie_s, cell.limit_k)
    plan = draw(cell.setup, seed).plan
    monitor = Monitor(loop, plan, (event,), allowed, cell.phase)
    strike(loop, cell.phase)
    if cell.phase in AFTER_END:
        monitor.note_end()
    window_s = cell.window_s + (PRESSED_BY_S if before_press else 0.0)
    outcome = watch(loop, monitor, event.onset_s, window_s)
    return result_of(cell, seed, outcome, miss(cell, outcome))


def is_judged_apart(cell: Cell) -> bool:
    """Tell whether how hot it may get, and how long a reading may lie, is the expectation's."""
    return cell.expect in (BOUNDED, NOT_DETECTABLE) or cell.share < 1


def event_of(cell: Cell, seed: int, now_s: float) -> FaultEvent:
    """Return the cell's fault, a moment after the snapshot."""
    random = Random(f"fault {cell.fault} {cell.phase} {seed}")
    late_s = 0.0 if cell.phase in (IDLE, STOPPING) else random.uniform(0.0, LATEST_S)
    amount = cell.amount
    if cell.fault in DRAWN_AMOUNTS:
        amount = random.randrange(DRAWS)
    length_s = None if KINDS[cell.fault].at_once else cell.length_s
    return FaultEvent(cell.fault, now_s + late_s, length_s, amount, cell.part)


def miss(cell: Cell, outcome: Outcome) -> str:
    """Return why this outcome is not what the table asks for, "" when it is."""
    if outcome.broken:
        return "the monitor saw " + ", ".join(
            f"{rule} at {at_s:.1f} s" for rule, at_s in outcome.broken.items()
        )
    return CHECKS[cell.expect](cell, outcome)


def _refused(_cell: Cell, outcome: Outcome) -> str:
    if outcome.heated:
        return f"it heated (ends {outcome.state} {outcome.found})"
    return "the press was taken: the contactor has closed" if outcome.closed else ""


def _trip(cell: Cell, outcome: Outcome) -> str:
    if not outcome.found and cell.share < 1:
        return _bounded(cell, outcome)  # the evidence counts how many were found
    if not outcome.found:
        return f"nothing tripped (state {outcome.state})"
    if outcome.found not in cell.trips:
        return f"it tripped with {outcome.found}"
    assert outcome.found_s is not None
    if outcome.found_s > cell.within_s:
        return f"{outcome.found} only after {outcome.found_s:.1f} s"
    if outcome.heated and (outcome.heat_off_s is None or outcome.heat_off_s > cell.off_s):
        return f"heat until {outcome.heat_off_s} s"
    if not outcome.stays:
        return f"{outcome.found} did not stay latched"
    if cell.resets and not outcome.resets:
        return "the watchdog did not start the device anew"
    return _bounded(cell, outcome)


def _bounded(cell: Cell, outcome: Outcome) -> str:
    if cell.over_k is None or outcome.peak_c is None:
        return ""
    over_k = outcome.peak_c - outcome.target_c
    return f"the board came {over_k:.1f} K over the target" if over_k > cell.over_k else ""


def _harmless(_cell: Cell, outcome: Outcome) -> str:
    return f"{outcome.found} ended the run" if outcome.found else ""


def _anything(_cell: Cell, _outcome: Outcome) -> str:
    return ""


CHECKS = {
    REFUSED: _refused,
    TRIP: _trip,
    BOUNDED: _bounded,
    HARMLESS: _harmless,
    NOT_DETECTABLE: _anything,
}
